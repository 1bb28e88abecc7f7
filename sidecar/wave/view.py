"""WAV, RF64 and BW64 files as libsndfile can read them.

libsndfile 1.2.2 knows no BW64, does not find the audio of an RF64 file behind a chunk of odd size, such as a
``bext`` with an odd coding history, and no audio in a chunk whose size was never written. These are read
through a view: a short file of format and audio.
"""

from __future__ import annotations

import io
import struct
from pathlib import Path

from sidecar.errors import SourceError
from sidecar.wave.chunks import DS64_BYTES, SIZE_IN_DS64, Wave, read_chunk, walk

_MOST_FMT_BYTES = 1 << 16


def view(path: Path) -> io.RawIOBase | None:
    """What to read in place of the file; None where libsndfile manages by itself, or has its own say.

    It closes its file when it is closed or forgotten. Raises OSError when the file cannot be opened.
    """
    file = path.open("rb", buffering=0)
    try:
        wave = walk(file)
        front = wave.chunks[: wave.chunks.index(wave.data)]
        misread = wave.form == b"BW64" or any(chunk.size % 2 for chunk in front)
        fmt = wave.only(b"fmt ")
        if fmt is not None and (wave.is_open or (wave.is_long and misread)):
            head = _head(wave, read_chunk(file, fmt, _MOST_FMT_BYTES))
            return _View(file, head, wave.data.start, wave.data.size)
    except SourceError:
        pass  # not of these forms, or damaged: reading it reports that
    file.close()
    return None


def _head(wave: Wave, fmt: bytes) -> bytes:
    frame_bytes = max(1, int.from_bytes(fmt[12:14], "little"))
    body = struct.pack("<4sI", b"fmt ", len(fmt)) + fmt + bytes(len(fmt) % 2)
    if not wave.is_long:
        form_size = 4 + len(body) + 8 + wave.data.size
        return (
            struct.pack("<4sI4s", b"RIFF", min(form_size, SIZE_IN_DS64), b"WAVE")
            + body
            + struct.pack("<4sI", b"data", min(wave.data.size, SIZE_IN_DS64))
        )
    form_size = 4 + 8 + DS64_BYTES + len(body) + 8 + wave.data.size
    sizes = struct.pack("<QQQI", form_size, wave.data.size, wave.data.size // frame_bytes, 0)
    return (
        struct.pack("<4sI4s4sI", b"RF64", SIZE_IN_DS64, b"WAVE", b"ds64", DS64_BYTES)
        + sizes
        + body
        + struct.pack("<4sI", b"data", SIZE_IN_DS64)
    )


class _View(io.RawIOBase):
    """A head of its own, and behind it a stretch of a file."""

    def __init__(self, file: io.FileIO, head: bytes, start: int, size: int) -> None:
        super().__init__()
        self._file, self._head, self._start = file, head, start
        self._size = len(head) + size
        self._place = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._place, io.SEEK_END: self._size}[whence]
        self._place = max(0, base + offset)
        return self._place

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        piece = self._piece(min(len(buffer), max(0, self._size - self._place)))
        buffer[: len(piece)] = piece
        self._place += len(piece)
        return len(piece)

    def close(self) -> None:
        self._file.close()
        super().close()

    def _piece(self, length: int) -> bytes:
        if self._place < len(self._head):
            return self._head[self._place : self._place + length]
        self._file.seek(self._start + self._place - len(self._head))
        return self._file.read(length)
