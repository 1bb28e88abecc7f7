"""Changing a few bytes of a large file so that it is old or new, whole, whatever happens meanwhile.

The old bytes are first kept in a small file beside it, the journal, from which the next change puts them
back. In a folder that others may write to, a journal could be laid there to have any file changed: it is
made anew each time, read through no link, and believed only where it belongs to the file.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from sidecar.errors import SourceError
from sidecar.storage.atomic_file import sync, sync_folder

_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)
"""For a pipe of that name, which would otherwise be waited for."""
_BINARY = getattr(os, "O_BINARY", 0)
_MOST_BYTES = 1 << 16
"""Of a journal, and so of a change, which it holds twice in hexadecimal."""
_CHECKED_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class _Change:
    file_size: int
    checksum: str
    """Of the file outside the change."""
    place: int
    old: bytes
    new: bytes


def change_in_place(file: BinaryIO, path: Path, place: int, new: bytes) -> None:
    """Writes *new* at *place* of a locked file, open for reading and writing, whose size stays as it is.

    Raises SourceError where something else is in the journal's place.
    """
    file.seek(place)
    old = file.read(len(new))
    change = _Change(_size(file), _checksum(file, place, len(new)), place, old, new)
    journal = _journal(path)
    _keep(journal, change)
    try:
        sync_folder(path.parent)
    except OSError:
        journal.unlink(missing_ok=True)
        raise
    _overwrite(file, place, new)
    _drop(journal)


def put_right(file: BinaryIO, path: Path) -> None:
    """Ends what an interrupted change left behind: the file holds the old bytes or the new ones, whole.

    A file that is no longer the one that was being changed is left alone, and its journal removed.
    Raises SourceError for a journal that is a link, or was made by another user than the file's or this one.
    """
    journal = _journal(path)
    if not os.path.lexists(journal):
        return
    change = _from_json(_read_own(journal, os.fstat(file.fileno())))
    if change is not None and _belongs_to(file, change) and _is_torn(file, change):
        _overwrite(file, change.place, change.old)
    _drop(journal)


def refuse_unfinished(path: Path) -> None:
    """Raises SourceError while a change of the file is under way, or was interrupted."""
    if os.path.lexists(_journal(path)):  # false, not refused, for a name too long to have a journal
        raise SourceError(
            "its fields are being written, or that was interrupted. If no other sidecar writes to it, run "
            "sidecar stamp again."
        )


def lock(file: BinaryIO) -> None:
    """Keeps other sidecars off the file until it is closed, where the system can; never waits.

    Raises SourceError when one is at work on it.
    """
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        raise SourceError("another sidecar writes to it. Wait until that is done.") from error


def _journal(path: Path) -> Path:
    return path.with_name(f".{path.name}.sidecar-undo")


def _keep(journal: Path, change: _Change) -> None:
    try:
        descriptor = os.open(journal, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _NO_LINK | _BINARY, 0o600)
    except FileExistsError as error:
        raise _not_ours(journal) from error
    try:
        with os.fdopen(descriptor, "wb") as kept:
            kept.write(_as_json(change))
            sync(kept)
    except OSError:
        journal.unlink(missing_ok=True)
        raise


def _read_own(journal: Path, of: os.stat_result) -> bytes:
    """The content of a journal that this user or the file's owner made under this name alone."""
    try:
        descriptor = os.open(journal, os.O_RDONLY | _NO_LINK | _NO_WAIT | _BINARY)
    except OSError as error:  # ELOOP: a link
        raise _not_ours(journal) from error
    with os.fdopen(descriptor, "rb") as kept:
        status = os.fstat(descriptor)
        owners = (of.st_uid, os.geteuid()) if hasattr(os, "geteuid") else (status.st_uid,)
        if not stat.S_ISREG(status.st_mode) or status.st_nlink != 1 or status.st_uid not in owners:
            raise _not_ours(journal)
        return kept.read(_MOST_BYTES)


def _not_ours(journal: Path) -> SourceError:
    return SourceError(
        f"{journal.name} in its folder is none that sidecar stamp made for it. See what it is, and remove it."
    )


def _belongs_to(file: BinaryIO, change: _Change) -> bool:
    length = len(change.old)
    return (
        _size(file) == change.file_size
        and length == len(change.new)
        and 0 <= change.place <= change.file_size - length
        and _checksum(file, change.place, length) == change.checksum
    )


def _is_torn(file: BinaryIO, change: _Change) -> bool:
    file.seek(change.place)
    now = file.read(len(change.old))
    return now not in {change.old, change.new} and all(
        byte in pair for byte, *pair in zip(now, change.old, change.new, strict=True)
    )


def _checksum(file: BinaryIO, place: int, length: int) -> str:
    """SHA-256 of the file's first, middle and last MiB, without the bytes from *place* on: another file, or
    the same exported anew, differs in them."""
    digest = hashlib.sha256()
    for start, stop in _checked(_size(file)):
        file.seek(start)
        content = bytearray(file.read(stop - start))
        first, past = max(place, start) - start, min(place + length, stop) - start
        if first < past:
            content[first:past] = bytes(past - first)
        digest.update(content)
    return digest.hexdigest()


def _checked(size: int) -> Iterator[tuple[int, int]]:
    for start in (0, (size - _CHECKED_BYTES) // 2, size - _CHECKED_BYTES):
        yield max(0, start), min(size, max(0, start) + _CHECKED_BYTES)


def _size(file: BinaryIO) -> int:
    return os.fstat(file.fileno()).st_size


def _overwrite(file: BinaryIO, place: int, content: bytes) -> None:
    file.seek(place)
    file.write(content)
    sync(file)


def _drop(journal: Path) -> None:
    journal.unlink()
    sync_folder(journal.parent)


def _as_json(change: _Change) -> bytes:
    fields = {
        "about": "The bytes of a sound file before a change. sidecar stamp puts them back and deletes this.",
        "file_size": change.file_size,
        "checksum": change.checksum,
        "place": change.place,
        "old": change.old.hex(),
        "new": change.new.hex(),
    }
    return json.dumps(fields, indent=1).encode()


def _from_json(text: bytes) -> _Change | None:
    """None for a journal that was cut off itself: then the file has not been touched yet."""
    try:
        fields = json.loads(text)
        return _Change(
            int(fields["file_size"]),
            str(fields["checksum"]),
            int(fields["place"]),
            bytes.fromhex(fields["old"]),
            bytes.fromhex(fields["new"]),
        )
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return None
