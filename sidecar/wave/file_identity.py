"""Knowing a file again: work on it holds only for the file as it was when the work began."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sidecar.errors import SourceError


@dataclass(frozen=True, slots=True)
class FileIdentity:
    """What the file system says of a file: two that are equal are the same file, unchanged.

    The time of its content can be set by any program, and a tool that writes fields into a file in place
    often sets it back; the time of its status cannot (POSIX.1-2017, ``<sys/stat.h>``: st_ctim). On Windows
    the latter is the time of creation and shows that a file was replaced.
    """

    inode: int
    size: int
    changed_ns: int
    """When its content was last written, as far as it says so."""
    status_ns: int
    """When its content or anything about it was last changed."""

    @classmethod
    def of(cls, status: os.stat_result) -> FileIdentity:
        return cls(status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns)


_NOTHING = FileIdentity(0, 0, 0, 0)


@contextmanager
def unchanged(path: Path, seen: FileIdentity | None = None) -> Iterator[FileIdentity]:
    """Gives by what *path* is known, for work on it that is worth nothing should it change meanwhile.

    seen: what it is to be from the start; None takes it as it is.
    Raises SourceError at either end when it is another file; what the work itself raises comes first.
    """
    before = seen_of(path)
    if seen not in (None, before):
        raise changed(path)
    yield before
    if before == _NOTHING or seen_of(path) != before:
        raise changed(path)


def changed(path: Path) -> SourceError:
    return SourceError(f"{path} changed during the measurement. Run this again when no program writes to it.")


def seen_of(path: Path) -> FileIdentity:
    """As it is now; a file that is not there is none that can be seen."""
    try:
        return FileIdentity.of(path.stat())
    except OSError:
        return _NOTHING
