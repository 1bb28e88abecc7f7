"""Writing a WAV, RF64 or BW64 file anew from another one, with some of its chunks replaced.

Chunks that are kept are copied byte for byte, headers and padding included, and so is what may stand
behind the last one. The form's size changes by what was added or left out, and by nothing else.
"""

from __future__ import annotations

import shutil
import struct
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from sidecar.errors import SourceError
from sidecar.wave.chunks import SIZE_IN_DS64, Chunk, Wave

_COPIED_BYTES = 1 << 22
_SPARE_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class NewChunk:
    """A chunk to be written; its content comes in pieces of *size* bytes in all."""

    name: bytes
    size: int
    content: Iterable[bytes]


Part = Chunk | NewChunk


def write_anew(
    target: BinaryIO,
    source: BinaryIO,
    wave: Wave,
    parts: Sequence[Part],
    progress: Callable[[float], None] = lambda _share: None,
) -> None:
    """Writes *parts* in their order as one file of the form of *wave*; ``data`` is among them.

    progress: called with the share of *parts* that is written, 0 to 1.
    Raises SourceError when the file would outgrow its form.
    """
    added = sum(map(_length, parts)) - sum(map(_length, wave.chunks))
    form_size = wave.form_size + added
    data_bytes = next(part.size for part in parts if part.name == b"data")
    if not wave.is_long and form_size >= SIZE_IN_DS64:
        raise SourceError(
            "with its new fields it would pass 4 GiB, the most of a WAV file. Export it as RF64 or BW64."
        )
    target.write(struct.pack("<4sI4s", wave.form, SIZE_IN_DS64 if wave.is_long else form_size, b"WAVE"))
    total = max(1, sum(map(_length, parts)))
    for part in parts:
        if isinstance(part, NewChunk):
            _write_new(target, part, wave.is_long)
        elif part.name == b"ds64":
            _write_ds64(target, source, part, form_size, (wave.data.size, data_bytes))
        else:
            start = part.start - 8
            if part is wave.data and wave.is_open:  # its size was never written
                target.write(struct.pack("<4sI", part.name, SIZE_IN_DS64 if wave.is_long else part.size))
                start = part.start
            for _ in _copied(target, source, start, min(part.stop, wave.file_size)):
                progress(min(1.0, target.tell() / total))
    for _ in _copied(target, source, max(part.stop for part in wave.chunks), wave.file_size):
        pass
    progress(1.0)


def refuse_without_room(folder: Path, bytes_needed: int) -> None:
    """Raises SourceError where a file of that size cannot be written."""
    free = shutil.disk_usage(folder).free
    if free < bytes_needed + _SPARE_BYTES:
        raise SourceError(
            f"a copy needs {bytes_needed / 1e6:,.1f} MB; {folder} has {free / 1e6:,.1f} MB left. Make room."
        )


def _length(part: Part) -> int:
    return 8 + part.size + part.size % 2


def _write_new(target: BinaryIO, part: NewChunk, in_long_form: bool) -> None:
    in_ds64 = in_long_form and part.name == b"data"
    target.write(struct.pack("<4sI", part.name, SIZE_IN_DS64 if in_ds64 else part.size))
    start = target.tell()
    for piece in part.content:
        target.write(piece)
    written = target.tell() - start
    if written != part.size:
        raise SourceError(f"its {part.name.decode()} chunk came to {written} bytes instead of {part.size}.")
    target.write(bytes(part.size % 2))


def _write_ds64(
    target: BinaryIO, source: BinaryIO, chunk: Chunk, form_size: int, data_bytes: tuple[int, int]
) -> None:
    source.seek(chunk.start - 8)
    content = bytearray(source.read(chunk.stop - chunk.start + 8))
    frames = int.from_bytes(content[24:32], "little")
    before, now = data_bytes
    struct.pack_into("<QQQ", content, 8, form_size, now, frames * now // before if before else frames)
    target.write(content)


def _copied(target: BinaryIO, source: BinaryIO, start: int, stop: int) -> Iterator[None]:
    source.seek(start)
    left = stop - start
    while left > 0:
        piece = source.read(min(left, _COPIED_BYTES))
        if not piece:
            raise SourceError("it became shorter during the copy. Wait until no program writes to it.")
        target.write(piece)
        left -= len(piece)
        yield
