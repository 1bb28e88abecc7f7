"""The loudness fields of a broadcast wave file: EBU Tech 3285 v2.0, the ``bext`` chunk.

Each is a little-endian int16 of a hundred times its value; 0x7FFF says that it is not used.
"""

from __future__ import annotations

import math
import struct
from dataclasses import astuple, dataclass
from pathlib import Path

from sidecar.errors import SourceError
from sidecar.model.readings import SILENCE, Reading
from sidecar.wave.chunks import is_wave, naming, read_chunk, walk
from sidecar.wave.patch import refuse_unfinished

VERSION_AT, UMID_AT, LOUDNESS_AT, RESERVED_AT, HISTORY_AT = 346, 348, 412, 422, 602
"""Places in the chunk (Tech 3285 v2.0); the coding history runs from the last to the end."""

_VERSION = 2
_LOUDNESS = struct.Struct("<5h")
_UNUSED = 0x7FFF
_LARGEST = 9999  # Tech 3285 v2.0: −99.99 to 99.99 (from memory)


@dataclass(frozen=True, slots=True)
class Claimed:
    """What a file says about its own loudness, in the order of the chunk; None where it says nothing."""

    integrated: float | None = None
    """LUFS."""
    loudness_range: float | None = None
    """LU."""
    max_true_peak: float | None = None
    """dBTP."""
    max_momentary: float | None = None
    """LUFS."""
    max_short_term: float | None = None
    """LUFS."""

    @classmethod
    def from_reading(cls, reading: Reading) -> Claimed:
        """What may be said truthfully of a finished programme that reads so, at two decimals.

        A range is claimed only where there was a short-term value to take it from.
        """
        has_range = reading.max_short_term != SILENCE
        values = (
            reading.integrated,
            reading.loudness_range if has_range else SILENCE,
            reading.max_true_peak,
            reading.max_momentary,
            reading.max_short_term,
        )
        return cls(*map(_value, map(_hundredths, values)))


def read_loudness(path: Path) -> Claimed | None:
    """What the file claims; None when it is no WAV, RF64 or BW64 file or claims nothing.

    Raises SourceError when it cannot be read, is cut off or contradicts itself, or when a change of
    these fields was interrupted.
    """
    with naming(path):
        if not is_wave(path):
            return None
        refuse_unfinished(path)
        with path.open("rb") as file:
            chunk = walk(file).only(b"bext")
            return None if chunk is None else claimed_in(read_chunk(file, chunk, HISTORY_AT))


def claimed_in(bext: bytes) -> Claimed | None:
    """What this chunk claims; None before version 2, which has no loudness, or where all is unused."""
    if len(bext) < RESERVED_AT or _version(bext) < _VERSION:
        return None
    claimed = Claimed(*map(_value, _LOUDNESS.unpack_from(bext, LOUDNESS_AT)))
    return None if claimed == Claimed() else claimed


def new_bext(claimed: Claimed) -> bytes:
    """A chunk that says nothing but the loudness."""
    return with_loudness(bytes(HISTORY_AT), claimed)


def with_loudness(bext: bytes, claimed: Claimed) -> bytes:
    """The chunk with these fields, as version 2 and of the same length; *bext* may end behind them.

    Raises SourceError for a chunk that is too short for its fields, or of a version to come.
    """
    if len(bext) < RESERVED_AT:
        raise SourceError(
            f"its bext chunk has {len(bext)} bytes, and EBU Tech 3285 asks for {HISTORY_AT}. Export it again."
        )
    version = _version(bext)
    if version > _VERSION:
        raise SourceError(
            f"its bext chunk is of version {version}; only versions up to 2 can be changed. Export it again."
        )
    # The UMID came with version 1: before that its place was reserved and means nothing.
    umid = bext[UMID_AT:LOUDNESS_AT] if version else bytes(LOUDNESS_AT - UMID_AT)
    fields = struct.pack("<H", _VERSION) + umid + _LOUDNESS.pack(*map(_hundredths, astuple(claimed)))
    return bext[:VERSION_AT] + fields + bext[RESERVED_AT:]


def without_umid(bext: bytes) -> bytes:
    """The chunk without its unique material identifier: it belongs to one piece of material alone (SMPTE
    ST 330, from memory)."""
    return bext[:UMID_AT] + bytes(LOUDNESS_AT - UMID_AT) + bext[LOUDNESS_AT:]


def with_history(bext: bytes, line: str) -> bytes:
    """The chunk with one more line in its coding history (EBU R 98: lines end in CR LF, from memory).

    Its size is even: libsndfile 1.2.2 does not find the audio of an RF64 file behind an odd one.
    """
    history = bext[HISTORY_AT:].rstrip(b"\0")
    if history and not history.endswith(b"\r\n"):
        history += b"\r\n"
    history += line.encode("ascii", "replace") + b"\r\n"
    return bext[:HISTORY_AT] + history + bytes(len(history) % 2)


def _version(bext: bytes) -> int:
    return int.from_bytes(bext[VERSION_AT:UMID_AT], "little")


def _hundredths(value: float | None) -> int:
    """Halves go away from zero, as in Tech 3285 v2.0 (from memory)."""
    if value is None or not math.isfinite(value):
        return _UNUSED
    rounded = int(math.copysign(math.floor(abs(value) * 100.0 + 0.5), value))
    return rounded if abs(rounded) <= _LARGEST else _UNUSED


def _value(hundredths: int) -> float | None:
    return hundredths / 100.0 if abs(hundredths) <= _LARGEST else None
