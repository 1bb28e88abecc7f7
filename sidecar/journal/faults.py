"""Why the record cannot be written or read, in words."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from sidecar.errors import SettingsError

_PRIMARY = 0xFF
"""The low byte of SQLite's result codes says what kind of fault it is."""


def reason(error: Exception, file: Path) -> str:
    """What is wrong with *file* and what to do, as the end of a sentence without its full stop."""
    if isinstance(error, SettingsError):
        return str(error).removesuffix(".")
    code = getattr(error, "sqlite_errorcode", 0) & _PRIMARY
    number = getattr(error, "errno", None)
    if code == sqlite3.SQLITE_FULL or number == errno.ENOSPC:
        return f"the disk of {file.parent} is full; make room"
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return f"another program holds {file}; end it"
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM) or number in (
        *(errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR, errno.EEXIST),
    ):
        return f"{file} cannot be written; make its folder writable"
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return f"{file} is damaged; move it away, and a new one is begun"
    return f"{file} cannot be used ({getattr(error, 'strerror', None) or error})"
