"""Plays a cue sheet: sounds are made when their moment comes and forgotten when they have rung out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np

from sidecar.model.readings import BLOCK_S
from sidecar.sources.rehearsal.acoustics import Sound, frames_in

Stem = Literal["voice", "music", "effects", "ambience"]
STEMS: tuple[Stem, ...] = ("voice", "music", "effects", "ambience")

SLAB = frames_in(BLOCK_S)
"""Frames that are made at a time: one gating block."""


class Maker(Protocol):
    """Makes a sound; the same draw makes the same sound to the bit."""

    def __call__(self, *, draw: int) -> Sound:
        """Shape (n, 2)."""


_AHEAD = frames_in(2.0)
"""Cues that start within this are made one a slab, so that sounds that start together cause no hitch."""


@dataclass(frozen=True, slots=True)
class Cue:
    """Something that sounds at a moment."""

    at_s: float
    stem: Stem
    gain_db: float
    sound: Maker


@dataclass(slots=True)
class _Playing:
    start: int
    stem: int
    sound: Sound


def perform(cues: Sequence[Cue], slabs: int) -> Iterator[Sound]:
    """The stems, ``SLAB`` frames at a time: shape (stems, SLAB, 2), owned by the receiver.

    A cue's draw is its place in the sheet. What would ring past the last slab is cut.
    """
    waiting = sorted(enumerate(cues), key=lambda numbered: numbered[1].at_s, reverse=True)
    playing: list[_Playing] = []
    for start in range(0, slabs * SLAB, SLAB):
        while waiting and _start(waiting[-1]) < start + SLAB:
            playing.append(_begun(*waiting.pop()))
        if waiting and _start(waiting[-1]) < start + _AHEAD:
            playing.append(_begun(*waiting.pop()))
        slab: Sound = np.zeros((len(STEMS), SLAB, 2), dtype=np.float32)
        for part in playing:
            _add(part, start, slab)
        playing = [part for part in playing if part.start + len(part.sound) > start + SLAB]
        yield slab


def _start(numbered: tuple[int, Cue]) -> int:
    return frames_in(numbered[1].at_s)


def _begun(number: int, cue: Cue) -> _Playing:
    sound = cue.sound(draw=1000 * (number + 1)) * np.float32(10.0 ** (cue.gain_db / 20.0))
    return _Playing(frames_in(cue.at_s), STEMS.index(cue.stem), sound)


def _add(part: _Playing, start: int, slab: Sound) -> None:
    skipped = max(part.start - start, 0)
    if skipped >= SLAB:
        return
    frames = part.sound[max(start - part.start, 0) :][: SLAB - skipped]
    slab[part.stem, skipped : skipped + len(frames)] += frames


def mixed(stems: Sound) -> Sound:
    """The sum of the stems, added in their order: shape (stems, n, 2) to (n, 2)."""
    mix: Sound = stems[0].copy()
    for stem in stems[1:]:
        mix += stem
    return mix
