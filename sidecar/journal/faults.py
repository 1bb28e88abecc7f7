"""Why the disk does not take the record, in words."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from sidecar.errors import SettingsError

_PRIMARY = 0xFF
"""The low byte of SQLite's result codes says what kind of fault it is."""


def reason(error: Exception, file: Path) -> str:
    """A sentence on *error*, which befell *file*: what is wrong and what to do."""
    if isinstance(error, SettingsError):
        return str(error)
    code = getattr(error, "sqlite_errorcode", 0) & _PRIMARY
    number = getattr(error, "errno", None)
    if code == sqlite3.SQLITE_FULL or number == errno.ENOSPC:
        return f"the disk of {file.parent} is full; make room, and it goes on by itself."
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return f"another program holds {file}; end it, and it goes on by itself."
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM) or number in (
        *(errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR, errno.EEXIST),
    ):
        return f"{file} cannot be written; make its folder writable, and it goes on by itself."
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return f"{file} is damaged; move it away, and a new one is begun."
    return f"{file} cannot be written ({error})."
