"""Putting loudness fields into a broadcast wave file, so that it is old or new, whole, at any time.

Where the fields have their place already, or a filler in front of the audio has room for them, only those
bytes change. Else the file is copied with a new chunk in front of the audio. All the rest stays as it is.
"""

from __future__ import annotations

import os
import shutil
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Literal

from sidecar.errors import SourceError
from sidecar.storage.atomic_file import replacing
from sidecar.wave.bext import HISTORY_AT, RESERVED_AT, VERSION_AT, Claimed, new_bext, with_loudness
from sidecar.wave.chunks import Chunk, Wave, naming, read_chunk, walk
from sidecar.wave.file_identity import FileIdentity
from sidecar.wave.patch import change_in_place, lock, put_right
from sidecar.wave.rewrite import NewChunk, Part, refuse_without_room, write_anew

How = Literal["in place", "copied"]

_FILLERS = (b"JUNK", b"junk", b"PAD ", b"FLLR")
"""Chunks that hold nothing (Tech 3306; the last by common practice, no source)."""


def prepare(path: Path) -> FileIdentity:
    """Corrects an interrupted change, and returns what :func:`stamp` is to find later.

    Raises SourceError when the file cannot be written, is no WAV, RF64 or BW64, or contradicts itself.
    """
    with naming(path), _held(path.resolve()) as file:
        walk(file)
        return FileIdentity.of(os.fstat(file.fileno()))


def stamp(
    path: Path, claimed: Claimed, seen: FileIdentity, progress: Callable[[float], None] = lambda _share: None
) -> How:
    """Writes the fields; times, permissions and every other byte of content stay.

    Raises SourceError when the file has changed since it was seen, or cannot be written.
    """
    real = path.resolve()
    with naming(path), _held(real) as file:
        status = os.fstat(file.fileno())
        _refuse_changed(status, seen)
        wave = walk(file)
        change = _change(file, wave, claimed)
        if change is None:
            _copy(file, real, wave, claimed, progress)
            return "copied"
        change_in_place(file, real, *change)
        os.utime(real, ns=(status.st_atime_ns, status.st_mtime_ns))
        return "in place"


def fill(path: Path, claimed: Claimed) -> None:
    """Writes the fields of a new file with a ``bext`` chunk that no other program has opened yet."""
    with path.open("r+b") as file:
        change = _change(file, walk(file), claimed)
        if change is None:
            raise SourceError("it has no room for the loudness fields.")
        file.seek(change[0])
        file.write(change[1])


@contextmanager
def _held(path: Path) -> Iterator[BinaryIO]:
    """The file, open for both, locked, and free of interrupted changes."""
    with path.open("r+b") as file:
        lock(file)
        put_right(file, path)
        yield file


def _refuse_changed(status: os.stat_result, seen: FileIdentity) -> None:
    if FileIdentity.of(status) != seen:
        raise SourceError("it changed during the measurement. Run this again when no program writes to it.")


def _change(file: BinaryIO, wave: Wave, claimed: Claimed) -> tuple[int, bytes] | None:
    """(place, bytes) that put the fields in without moving anything; None where there is no room."""
    bext = wave.only(b"bext")
    if bext is not None:
        patched = with_loudness(read_chunk(file, bext, HISTORY_AT), claimed)
        return bext.start + VERSION_AT, patched[VERSION_AT:RESERVED_AT]
    filler = _filler(wave)
    if filler is None:
        return None
    left = filler.size - HISTORY_AT
    content = struct.pack("<4sI", b"bext", HISTORY_AT) + new_bext(claimed)
    rest = struct.pack("<4sI", filler.name, left - 8) if left else b""
    return filler.start - 8, content + rest


def _filler(wave: Wave) -> Chunk | None:
    """One in front of the audio that is as large as the new chunk, or leaves room for a smaller filler.

    The one at the very front is the place of a ``ds64`` to come (Tech 3306) and is left alone.
    """
    for chunk in wave.chunks[1:]:
        if chunk.name == b"data":
            return None
        left = chunk.size - HISTORY_AT
        if chunk.name in _FILLERS and (left == 0 or left >= 8):
            return chunk
    return None


def _copy(
    file: BinaryIO, path: Path, wave: Wave, claimed: Claimed, progress: Callable[[float], None]
) -> None:
    status = os.fstat(file.fileno())
    if status.st_nlink > 1:
        raise SourceError("it has another name in this file system (a hard link). Copy it first.")
    refuse_without_room(path.parent, wave.file_size + HISTORY_AT)
    parts: list[Part] = []
    for chunk in wave.chunks:
        if chunk.name == b"data":
            parts.append(NewChunk(b"bext", HISTORY_AT, [new_bext(claimed)]))
        parts.append(chunk)
    with replacing(path) as part:
        with part.open("wb") as target:
            write_anew(target, file, wave, parts, progress)
        with suppress(OSError, AttributeError):  # only root may change the owner
            os.chown(part, status.st_uid, status.st_gid)
        shutil.copystat(path, part)
        _refuse_changed(path.stat(), FileIdentity.of(status))
