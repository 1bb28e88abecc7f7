"""Who speaks in the rehearsal, where they stand, and how lines follow one another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

from sidecar.sources.rehearsal.acoustics import Room, Sound, placed, sounding_in
from sidecar.sources.rehearsal.performance import Cue
from sidecar.sources.rehearsal.speech import spoken_s
from sidecar.sources.rehearsal.voices import Voice, speak


@dataclass(frozen=True, slots=True)
class Person:
    """A voice at its microphone."""

    voice: Voice
    pan: float
    room: Room


_BOOTH = Room(tail_s=0.18, wet=0.10, dark_hz=6000.0, reflections_ms=(3.1, 4.7))
_QUAYSIDE = Room(tail_s=0.7, wet=0.12, dark_hz=3000.0, reflections_ms=(23.0, 41.0))

NARRATOR = Person(Voice(pitch_hz=186.0, tract=1.14, breath=0.05), pan=0.0, room=_BOOTH)
REPORTER = Person(Voice(pitch_hz=204.0, tract=1.17, pace=1.12), pan=-0.3, room=_QUAYSIDE)
MASTER = Person(
    Voice(pitch_hz=98.0, tract=0.97, pace=0.88, breath=0.06, open_quotient=0.5), pan=0.3, room=_QUAYSIDE
)
MASTER_SHOUTING = replace(
    MASTER, voice=Voice(pitch_hz=172.0, tract=1.0, pace=0.95, open_quotient=0.45, bright_hz=8000.0)
)


def _said(person: Person, line: str, *, draw: int) -> Sound:
    return sounding_in(person.room, placed(speak(person.voice, line, draw), person.pan))


def dialogue(
    at_s: float, lines: Sequence[tuple[Person, str]], *, gain_db: float, gap_s: float
) -> Iterator[Cue]:
    """Lines one after the other, each when the one before has ended and a gap has passed."""
    for person, line in lines:
        yield Cue(at_s, "voice", gain_db, partial(_said, person, line))
        at_s += spoken_s(line, person.voice.pace) + gap_s


def monologue(at_s: float, person: Person, *lines: str, gain_db: float, gap_s: float) -> Iterator[Cue]:
    return dialogue(at_s, [(person, line) for line in lines], gain_db=gain_db, gap_s=gap_s)
