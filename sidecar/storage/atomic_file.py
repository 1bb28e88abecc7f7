"""Files written aside and renamed when they are whole: a reader finds the old content or the new one."""

from __future__ import annotations

import errno
import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

_SUFFIX = ".sidecar-part"
_NAME_CHARACTERS = 50
"""Of the target's name in that of the part, which must stay within 255 bytes."""
_NO_FOLDER_SYNC = (errno.EINVAL, errno.ENOTSUP, errno.EACCES)
"""Some network file systems know no sync of a folder; one that may be written need not be readable."""


def write_whole(target: Path, content: bytes) -> None:
    """Writes *content* as the file *target*, which keeps its permissions where it exists.

    Raises OSError where it cannot be written; an existing file then stays as it was.
    """
    with replacing(target, 0o666) as part:
        part.write_bytes(content)


@contextmanager
def replacing(target: Path, permissions: int = 0o600) -> Iterator[Path]:
    """Gives the path of an empty file in the same folder that takes the place of *target* at the end.

    It does so only when nothing was raised: *target* is old or new, whole, at any time. A link stays one,
    and what it leads to is replaced; a pipe or a device is given itself. What an interrupted run left
    behind for the same target is removed.

    Parameters
    ----------
    permissions
        Those of a new file, before the process's mask; an existing one keeps its own.

    Raises OSError where nothing can be written.
    """
    real = Path(os.path.realpath(target))
    if real.exists() and not real.is_file():
        yield real
        return
    _remove_abandoned(real)
    part, lock = _locked_part(real, permissions)
    try:
        try:
            yield part
            with part.open("rb+") as written:
                sync(written)
        finally:
            os.close(lock)  # Windows renames no open file
        part.replace(real)
        sync_folder(real.parent)
    finally:
        part.unlink(missing_ok=True)


def sync(file: IO[bytes]) -> None:
    """Returns when what was written is on the disk."""
    file.flush()
    os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Returns when the names in the folder are on the disk, where the file system can say so."""
    if os.name == "nt":  # it has no such call
        return
    try:
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
    except OSError as error:
        if error.errno not in _NO_FOLDER_SYNC:
            raise


def try_lock(descriptor: int) -> bool:
    """Locks an open file for this process until it is closed; False where another one holds it.

    True as well where the system or the file system has no such locks.
    """
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True


def remove_unless_locked(path: Path) -> None:
    """Removes what an ended process left behind; a file that a living one has locked stays."""
    with suppress(OSError):
        descriptor = os.open(path, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
        try:
            if try_lock(descriptor):
                path.unlink()
        finally:
            os.close(descriptor)


def _locked_part(target: Path, permissions: int) -> tuple[Path, int]:
    """A new empty file and the descriptor that keeps it locked."""
    kept = stat.S_IMODE(target.stat().st_mode) if target.exists() else None
    while True:
        part = target.with_name(f".{target.name[:_NAME_CHARACTERS]}.{secrets.token_hex(4)}{_SUFFIX}")
        lock = os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL, permissions if kept is None else 0o600)
        try:
            if try_lock(lock) and part.exists():  # else another run took it for abandoned just now
                if kept is not None:
                    part.chmod(kept)
                return part, lock
        except BaseException:
            os.close(lock)
            part.unlink(missing_ok=True)
            raise
        os.close(lock)


def _remove_abandoned(target: Path) -> None:
    for part in target.parent.glob(f".{_literal(target.name[:_NAME_CHARACTERS])}.*{_SUFFIX}"):
        remove_unless_locked(part)


def _literal(name: str) -> str:
    """The name as a pattern that matches nothing else."""
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in name)
