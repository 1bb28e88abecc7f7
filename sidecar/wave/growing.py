"""A WAV file of 32-bit floats that grows while it is written, and becomes RF64 before it outgrows WAV.

The header is brought up to date every second of sound, so that an ended process leaves a file that can be
read. Sources: Microsoft's ``WAVE_FORMAT_IEEE_FLOAT`` with a ``fact`` chunk (from memory) and EBU Tech 3306
§3.2 (from memory): ``RIFF`` becomes ``RF64``, and a ``JUNK`` chunk that was kept in front becomes ``ds64``.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sidecar.wave.chunks import DS64_BYTES, SIZE_IN_DS64

LONGEST_FORM_BYTES = SIZE_IN_DS64 - 1
"""Of a WAV: the one size more that 32 bits hold says that the size is elsewhere."""

_IEEE_FLOAT = 3
_SAMPLE_BYTES = 4
_HEADER = struct.Struct("<4sI4s 4sI QQQI 4sIHHIIHHH 4sII 4sI")


class GrowingWave:
    """An open file that frames are appended to."""

    def __init__(self, path: Path, rate_hz: int, channels: int, *, is_long: bool = False) -> None:
        """Opens an empty file that is there.

        Parameters
        ----------
        is_long
            RF64 from the beginning; otherwise only once 32 bits do not hold its size.

        Raises OSError where it cannot be written.
        """
        self._rate_hz = rate_hz
        self._channels = channels
        self._is_long = is_long
        self._frames = 0
        self._frames_in_header = 0
        self._file = path.open("r+b", buffering=0)
        try:
            self._write_header()
        except BaseException:
            self._file.close()
            raise

    def write(self, frames: NDArray[np.floating]) -> None:
        """Appends frames, shape (n, channels), full scale ±1.

        Raises OSError where the disk does not take all of them: then none of them count, and the next
        ones are in their place.
        """
        self._write_at(_HEADER.size + self._data_bytes, np.ascontiguousarray(frames, "<f4").tobytes())
        self._frames += len(frames)
        if self._frames - self._frames_in_header >= self._rate_hz:
            self._write_header()

    def close(self) -> None:
        """Ends the file behind its last whole frame. Raises OSError where the disk does not take it."""
        with self._file:
            self._write_header()
            self._file.truncate(_HEADER.size + self._data_bytes)

    @property
    def _data_bytes(self) -> int:
        return self._frames * self._channels * _SAMPLE_BYTES

    def _write_header(self) -> None:
        self._write_at(0, _header(self._rate_hz, self._channels, self._frames, is_long=self._is_long))
        self._frames_in_header = self._frames

    def _write_at(self, place: int, content: bytes) -> None:
        self._file.seek(place)
        rest = memoryview(content)
        while rest:  # a disk that is almost full takes a part, and only then says so
            rest = rest[self._file.write(rest) :]


def _header(rate_hz: int, channels: int, frames: int, *, is_long: bool) -> bytes:
    frame_bytes = channels * _SAMPLE_BYTES
    data_bytes = frames * frame_bytes
    form_bytes = _HEADER.size - 8 + data_bytes
    is_long |= form_bytes > LONGEST_FORM_BYTES
    return _HEADER.pack(
        *(b"RF64" if is_long else b"RIFF", SIZE_IN_DS64 if is_long else form_bytes, b"WAVE"),
        *(b"ds64" if is_long else b"JUNK", DS64_BYTES),
        *((form_bytes, data_bytes, frames, 0) if is_long else (0, 0, 0, 0)),
        *(b"fmt ", 18, _IEEE_FLOAT, channels, rate_hz, rate_hz * frame_bytes, frame_bytes),
        *(8 * _SAMPLE_BYTES, 0),
        *(b"fact", 4, SIZE_IN_DS64 if is_long else frames),
        *(b"data", SIZE_IN_DS64 if is_long else data_bytes),
    )
