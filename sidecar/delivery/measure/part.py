"""A part of a file: from where to where, and which parts its cue markers make."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sidecar.errors import SourceError
from sidecar.model.timecode import FROM_FIRST_FRAME, Clock, place_from, time_code
from sidecar.sources.sound_file import SoundFile
from sidecar.wave.cues import Marker, markers, time_reference


@dataclass(frozen=True, slots=True)
class Part:
    """Frames of a file that are measured as if they were a file of their own."""

    name: str
    """What a marker calls it, or from where to where it reaches."""
    first: int
    """Its first frame."""
    stop: int
    """The frame behind its last."""


@dataclass(frozen=True, slots=True)
class Scope:
    """Which part of a file is measured, and how times in it are written."""

    part: Part | None = None
    """None for the whole file."""
    clock: Clock = FROM_FIRST_FRAME
    """Seconds from the file's first frame by default."""


WHOLE = Scope()


def clock_of(path: Path, rate: str) -> Clock:
    """Returns how times in a file are written: in timecode of this rate, which counts from the file's own
    time reference where it has one; without a rate in h:mm:ss.s from its first frame."""
    if not rate:
        return FROM_FIRST_FRAME
    with SoundFile(path) as file:
        return Clock(reference_s=time_reference(path) / file.rate_hz, rate=rate)


def part_between(path: Path, start: str | None, stop: str | None, clock: Clock) -> Part | None:
    """What lies between two places, each as :func:`place_from` reads it; None where neither is given.

    Raises SourceError where nothing of the file lies between them, SettingsError for what is no place.
    """
    if start is None and stop is None:
        return None
    from_s = 0.0 if start is None else place_from(start, clock.rate, clock.reference_s)
    with SoundFile(path) as file:
        to_s = file.duration_s if stop is None else place_from(stop, clock.rate, clock.reference_s)
        first, behind = round(from_s * file.rate_hz), min(file.frames, round(to_s * file.rate_hz))
        length_s = file.duration_s
    if not 0 <= first < behind:
        reaches = f"{clock.words(0.0)} to {clock.words(length_s)}"
        raise SourceError(
            f"Nothing of {path} lies from {start or 'its beginning'} to {stop or 'its end'}: it reaches from "
            f"{reaches}."
        )
    return Part(f"{clock.words(from_s)} to {clock.words(to_s)}", first, behind)


def marked_parts(path: Path) -> tuple[Part, ...]:
    """What lies before, between and behind the cue markers of a WAV, RF64 or BW64 file; none without any."""
    with SoundFile(path) as file:
        frames, rate_hz = file.frames, file.rate_hz
    inside = [marker for marker in markers(path) if marker.frame < frames]
    return tuple(_parts(inside, frames, rate_hz)) if inside else ()


def _parts(inside: list[Marker], frames: int, rate_hz: int) -> Iterator[Part]:
    if inside[0].frame > 0:
        yield Part(f"before {inside[0].name}", 0, inside[0].frame)
    stops = [marker.frame for marker in inside[1:]] + [frames]
    for marker, stop in zip(inside, stops, strict=True):
        yield Part(marker.name or time_code(marker.frame / rate_hz), marker.frame, stop)
