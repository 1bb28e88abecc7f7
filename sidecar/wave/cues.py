"""Where a WAV, RF64 or BW64 file has its cue markers and when it begins.

The chunks ``cue `` and ``LIST adtl`` are those of the Multimedia Programming Interface and Data
Specifications 1.0 (1991), from memory; the time reference is a field of ``bext`` (EBU Tech 3285).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from sidecar.wave.chunks import Wave, is_wave, naming, read_chunk, walk

_REFERENCE_AT = 338
_POINT = struct.Struct("<II4sIII")
_HEADER = struct.Struct("<4sI")
_MOST_BYTES = 1 << 20
_MOST_LABEL = 80
"""Ours: of a name that is longer the rest is left out."""


@dataclass(frozen=True, slots=True)
class Marker:
    """A place that a file names."""

    frame: int
    name: str


def time_reference(path: Path) -> int:
    """The file's first frame, counted in frames from midnight; 0 where it does not say.

    Raises SourceError when its chunks contradict each other.
    """
    with naming(path):
        if not is_wave(path):
            return 0
        with path.open("rb") as file:
            bext = walk(file).only(b"bext")
            content = b"" if bext is None else read_chunk(file, bext, _REFERENCE_AT + 8)
    return int.from_bytes(content[_REFERENCE_AT:], "little") if len(content) == _REFERENCE_AT + 8 else 0


def markers(path: Path) -> tuple[Marker, ...]:
    """The cue markers in the order of their places, each place once; empty where there are none.

    Raises SourceError when the file's chunks contradict each other.
    """
    with naming(path):
        if not is_wave(path):
            return ()
        with path.open("rb") as file:
            wave = walk(file)
            names = _names(file, wave)
            points = dict(_points(file, wave))
    found = {frame: names.get(ident, f"cue {ident}") for ident, frame in points.items()}
    return tuple(Marker(frame, found[frame]) for frame in sorted(found))


def _points(file: BinaryIO, wave: Wave) -> Iterator[tuple[int, int]]:
    """Identity and frame of each."""
    cue = wave.only(b"cue ")
    content = b"" if cue is None else read_chunk(file, cue, _MOST_BYTES)[4:]
    whole = len(content) // _POINT.size * _POINT.size
    for ident, _, _, _, _, offset in _POINT.iter_unpack(content[:whole]):
        yield ident, offset


def _names(file: BinaryIO, wave: Wave) -> dict[int, str]:
    names: dict[int, str] = {}
    for chunk in wave.chunks:
        content = read_chunk(file, chunk, _MOST_BYTES) if chunk.name == b"LIST" else b""
        if content[:4] == b"adtl":
            names.update(_labels(content[4:]))
    return names


def _labels(content: bytes) -> Iterator[tuple[int, str]]:
    at = 0
    while at + _HEADER.size <= len(content):
        name, size = _HEADER.unpack_from(content, at)
        start = at + _HEADER.size
        if name == b"labl" and size > 4:
            text = content[start + 4 : start + size].split(b"\0")[0].decode("utf-8", "replace").strip()
            if text:
                yield int.from_bytes(content[start : start + 4], "little"), text[:_MOST_LABEL]
        at = start + size + size % 2
