"""Changing a few bytes of a large file so that it is old or new, whole, whatever happens meanwhile.

The old bytes are first kept in a small file beside it, the journal. Who finds one puts them back.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from sidecar.errors import SourceError


@dataclass(frozen=True, slots=True)
class _Change:
    file_size: int
    place: int
    old: bytes
    new: bytes


def change_in_place(file: BinaryIO, path: Path, place: int, new: bytes) -> None:
    """Writes *new* at *place* of a locked file, open for reading and writing, whose size stays as it is."""
    file.seek(place)
    change = _Change(os.fstat(file.fileno()).st_size, place, file.read(len(new)), new)
    journal = _journal(path)
    try:
        with journal.open("wb") as kept:
            kept.write(_as_json(change))
            sync(kept)
        sync_folder(path.parent)
    except OSError:
        journal.unlink(missing_ok=True)
        raise
    _overwrite(file, place, new)
    _drop(journal)


def put_right(file: BinaryIO, path: Path) -> None:
    """Ends what an interrupted change left behind: the file holds the old bytes or the new ones, whole.

    A file that is no longer the one that was being changed is left alone.
    """
    journal = _journal(path)
    if not journal.exists():
        return
    change = _from_json(journal.read_bytes())
    if change is not None and os.fstat(file.fileno()).st_size == change.file_size:
        file.seek(change.place)
        now = file.read(len(change.old))
        torn = now not in {change.old, change.new} and all(
            byte in pair for byte, *pair in zip(now, change.old, change.new, strict=True)
        )
        if torn:
            _overwrite(file, change.place, change.old)
    _drop(journal)


def refuse_unfinished(path: Path) -> None:
    """Raises SourceError while a change of the file is under way, or was interrupted."""
    if os.path.lexists(_journal(path)):  # false, not refused, for a name too long to have a journal
        raise SourceError(
            "it is being stamped, or that was interrupted. If no other sidecar is at work on it, "
            "sidecar stamp puts it right."
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
        raise SourceError("another sidecar is changing it. Wait until that is done.") from error


def sync(file: BinaryIO) -> None:
    """Returns when what was written is on the disk."""
    file.flush()
    os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Returns when the names in the folder are on the disk."""
    if os.name == "nt":  # it has no such call
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _journal(path: Path) -> Path:
    return path.with_name(f".{path.name}.sidecar-undo")


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
            int(fields["place"]),
            bytes.fromhex(fields["old"]),
            bytes.fromhex(fields["new"]),
        )
    except (ValueError, KeyError, TypeError):
        return None
