"""The offsets and lengths of the chunks of a WAV, RF64 or BW64 file.

Sources: EBU Tech 3285 (WAV with ``bext``), EBU Tech 3306 (RF64) and ITU-R BS.2088 (BW64), the last two
from memory. Only headers are read. A file whose sizes contradict each other is refused, never guessed at:
to change a file, each byte of it must be known. The one exception is an audio chunk whose size was never
written, as a recorder leaves it that streams or crashes: it reaches to the end of the file.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

from sidecar.errors import SourceError

SIZE_IN_DS64 = 0xFFFF_FFFF
"""As a 32-bit size: the true one is in the ``ds64`` chunk (Tech 3306)."""
DS64_BYTES = 28
"""The ``ds64`` chunk without a table, and so the room that a writer keeps for it in front."""

_HEADER = struct.Struct("<4sI")
_DS64 = struct.Struct("<QQQI")
_DS64_ENTRY = struct.Struct("<4sQ")
_FORM_BYTES = 12
_MOST_CHUNKS = 4096
_MOST_DS64_BYTES = 1 << 16
_LONG_FORMS = (b"RF64", b"BW64")
_PLACEHOLDER_BYTES = 1 << 16
"""Who does not know a size yet writes 0, or a little less than 2³¹ or 2³² (common practice, no source)."""
_FORMS = (b"RIFF", *_LONG_FORMS)


@dataclass(frozen=True, slots=True)
class Chunk:
    """One chunk of a file."""

    name: bytes
    start: int
    """Place of its first byte behind the header."""
    size: int
    """Bytes of content, without header and padding."""

    @property
    def stop(self) -> int:
        """Place behind its last byte, padding included."""
        return self.start + self.size + self.size % 2


@dataclass(frozen=True, slots=True)
class Wave:
    """The chunks of a file, in its order, with exactly one ``data``."""

    form: bytes
    form_size: int
    chunks: tuple[Chunk, ...]
    file_size: int
    is_open: bool = False
    """True where the file does not say how long its audio is: it was taken to reach to the end."""

    @property
    def bytes_behind(self) -> int:
        """Bytes that follow the last chunk and belong to none."""
        return max(0, self.file_size - max(chunk.stop for chunk in self.chunks))

    @property
    def is_long(self) -> bool:
        """True where sizes are 64 bits wide, in ``ds64``."""
        return self.form in _LONG_FORMS

    @property
    def data(self) -> Chunk:
        return next(chunk for chunk in self.chunks if chunk.name == b"data")

    def only(self, name: bytes) -> Chunk | None:
        """The chunk of that name, None when there is none; raises SourceError when there are several."""
        found = [chunk for chunk in self.chunks if chunk.name == name]
        if len(found) > 1:
            raise SourceError(f"it has {len(found)} {name.decode()} chunks where one is allowed. {_AGAIN}")
        return found[0] if found else None


_AGAIN = "Export or copy it again."


@contextmanager
def naming(path: Path) -> Iterator[None]:
    """Puts the file's name in front of what cannot be done with it; the messages call the file "it"."""
    try:
        yield
    except SourceError as error:
        raise SourceError(f"{path}: {error}") from error
    except OSError as error:
        reason = error.strerror or error
        raise SourceError(
            f"{path}: the system refuses it ({reason}). Check its name, permissions and the room on the disk."
        ) from error


def is_wave(path: Path) -> bool:
    """True when the file begins as WAV, RF64 and BW64 do. Raises OSError when it cannot be opened."""
    with path.open("rb") as file:
        return _form(file.read(_FORM_BYTES)) is not None


def walk(file: BinaryIO) -> Wave:
    """The chunks of an open file.

    Raises SourceError when it is no WAV, RF64 or BW64 file, is cut off, or contradicts itself.
    """
    file.seek(0)
    form = _form(file.read(_FORM_BYTES))
    if form is None:
        raise SourceError("only WAV, RF64 and BW64 files have chunks to read and write.")
    name, form_size = form
    sizes: dict[bytes, int] = {}
    if name in _LONG_FORMS:
        long_size, sizes = _read_ds64(file)
        form_size = long_size if form_size == SIZE_IN_DS64 else form_size
    file_size = os.fstat(file.fileno()).st_size
    form_stop = 8 + form_size
    if is_placeholder(form_size) and form_stop != file_size:
        form_stop = file_size
    if form_stop - file_size > 1:  # the last chunk's padding is often left out
        raise SourceError(f"it promises {form_stop} bytes and holds {file_size}: it is cut off. {_AGAIN}")
    wave = _chunks(Wave(name, form_stop - 8, (), file_size), file, sizes)
    if wave.only(b"data") is None:
        raise SourceError(f"it has no audio: there is no data chunk. {_AGAIN}")
    return wave


def read_chunk(file: BinaryIO, chunk: Chunk, most: int) -> bytes:
    """The first *most* bytes of a chunk's content, or all where it is shorter."""
    file.seek(chunk.start)
    return file.read(min(most, chunk.size))


def _form(head: bytes) -> tuple[bytes, int] | None:
    if len(head) < _FORM_BYTES or head[:4] not in _FORMS or head[8:] != b"WAVE":
        return None
    return _HEADER.unpack(head[:8])


def _read_ds64(file: BinaryIO) -> tuple[int, dict[bytes, int]]:
    """The form's size, and the sizes of chunks that 32 bits do not hold."""
    header = file.read(_HEADER.size)
    name, size = _HEADER.unpack(header) if len(header) == _HEADER.size else (b"", 0)
    content = file.read(min(size, _MOST_DS64_BYTES))
    if name != b"ds64" or len(content) < DS64_BYTES:
        raise SourceError(f"its ds64 chunk, which holds its sizes, is missing or cut off. {_AGAIN}")
    form_size, data_size, _frames, entries = _DS64.unpack_from(content)
    fitting = (len(content) - DS64_BYTES) // _DS64_ENTRY.size
    table = content[DS64_BYTES : DS64_BYTES + min(entries, fitting) * _DS64_ENTRY.size]
    return form_size, {**dict(_DS64_ENTRY.iter_unpack(table)), b"data": data_size}


def is_placeholder(size: int) -> bool:
    """Whether that is where a size was to be written later."""
    return size == 0 or any(0 <= power - size <= _PLACEHOLDER_BYTES for power in (2**31, 2**32))


def _chunks(wave: Wave, file: BinaryIO, sizes: dict[bytes, int]) -> Wave:
    """The same with its chunks. sizes: of chunks that 32 bits do not hold."""
    chunks: list[Chunk] = []
    place, form_stop = _FORM_BYTES, 8 + wave.form_size
    while place + _HEADER.size <= form_stop:
        if len(chunks) == _MOST_CHUNKS:
            raise SourceError(f"it has more than {_MOST_CHUNKS} chunks: it is damaged. {_AGAIN}")
        name, size = _header(file, place)
        if not _is_name(name):
            raise SourceError(
                f"at byte {place} there is no chunk where one must begin: it is damaged. {_AGAIN}"
            )
        if size == SIZE_IN_DS64:
            size = sizes.get(name, SIZE_IN_DS64)
        chunk = Chunk(name, place + _HEADER.size, size)
        if name == b"data" and _is_open(file, chunk, wave.file_size):
            audio = replace(chunk, size=wave.file_size - chunk.start)
            return replace(wave, form_size=wave.file_size - 8, chunks=(*chunks, audio), is_open=True)
        if name == b"data" and chunk.start == form_stop:  # the form's size is from before the audio came
            form_stop = wave.file_size
        if chunk.start + chunk.size > form_stop:
            raise SourceError(
                f"its chunk {name.decode()!r} promises {size} bytes and {form_stop - chunk.start} are left: "
                f"it is cut off, or was never finished. {_AGAIN}"
            )
        chunks.append(chunk)
        place = chunk.stop
    return replace(wave, form_size=form_stop - 8, chunks=tuple(chunks))


def _is_open(file: BinaryIO, data: Chunk, file_size: int) -> bool:
    """Whether the size of the audio was never written: it passes the end, or is 0 with no chunk behind it."""
    left = file_size - data.start
    if left <= 0 or not is_placeholder(data.size):
        return False
    if data.size:
        return data.size > left
    name, size = _header(file, data.start)
    return not (_is_name(name) and size <= left - _HEADER.size)


def _header(file: BinaryIO, place: int) -> tuple[bytes, int]:
    """The name and size that stand there; no name where the file ends before."""
    file.seek(place)
    header = file.read(_HEADER.size)
    return _HEADER.unpack(header) if len(header) == _HEADER.size else (b"", 0)


def _is_name(name: bytes) -> bool:
    return bool(name) and name.isascii() and name.decode("ascii").isprintable()
