"""What every database of ours asks before it is used, and in which words its faults are said.

A database is marked with an application id of its own, so that no other program's is taken for it, and with
the version of its tables.
"""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sidecar.errors import RecordError

_PRIMARY = 0xFF
"""The low byte of SQLite's result codes says what kind of fault it is."""
_DAMAGE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_TOOBIG, sqlite3.SQLITE_MISMATCH)
_UNWRITABLE = (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR, errno.EEXIST)


@dataclass(frozen=True, slots=True)
class DatabaseKind:
    """One kind of database of ours."""

    name: str
    """As messages call it: a noun, with the option that names the file where there is one."""
    application_id: int
    newest: int
    """The newest version of its tables that this program can read."""

    def version(self, connection: sqlite3.Connection, path: Path) -> int:
        """The version of the tables, 0 where there are none yet. The caller has a transaction open.

        Raises RecordError for a database of another program and for one of a newer sidecar.
        """
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        if application != self.application_id and tables:
            raise RecordError(
                f"{path} is no {self.name}, it is another database. Name another file, or move it away."
            )
        if version > self.newest:
            raise RecordError(
                f"The {self.name} {path} is of a newer sidecar (version {version}; this one knows up to "
                f"{self.newest}): update this one, or move the file away."
            )
        return int(version)

    def mark(self, connection: sqlite3.Connection) -> None:
        """Marks the database as one of this kind in its newest version."""
        connection.execute(f"PRAGMA application_id = {self.application_id}")
        connection.execute(f"PRAGMA user_version = {self.newest}")


DATABASE_ERRORS = (sqlite3.Error, MemoryError, UnicodeDecodeError)
"""What SQLite raises: MemoryError for a damaged row that says of itself that it is gigabytes long, and
UnicodeDecodeError where it quotes damaged text."""


def is_damage(error: BaseException) -> bool:
    """True where SQLite found content that cannot be: a page or a row is damaged, or it is no database."""
    return isinstance(error, MemoryError | UnicodeDecodeError | sqlite3.DataError) or _code(error) in _DAMAGE


def decoded(text: bytes) -> str:
    """Text as SQLite gives it, for ``text_factory``: lossless, damaged or not."""
    return text.decode("utf-8", "surrogateescape")


def readable_rows(
    connection: sqlite3.Connection, select: str, order: str, values: Sequence[object] = ()
) -> tuple[list[Any], bool]:
    """Rows of *select* that can be read, each known by its first column, and whether they are all.

    A damaged page ends a look through a table: what lies behind it is found from the other end. *order* is
    what both looks go by: a column that SQLite finds in an index, so that rows come one by one.
    """
    rows, is_whole = _rows_until_damage(connection, f"{select} ORDER BY {order}", values)
    if not is_whole:
        known = {row[0] for row in rows}
        behind, _ = _rows_until_damage(connection, f"{select} ORDER BY {order} DESC", values)
        rows += [row for row in reversed(behind) if row[0] not in known]
    return rows, is_whole


def _rows_until_damage(
    connection: sqlite3.Connection, select: str, values: Sequence[object]
) -> tuple[list[Any], bool]:
    rows: list[Any] = []
    try:
        for row in connection.execute(select, values):
            rows.append(row)  # noqa: PERF402 - those before the damage stay
    except DATABASE_ERRORS as error:
        if not is_damage(error):
            raise
        return rows, False
    return rows, True


def reason(error: Exception, file: Path) -> str:
    """What is wrong with *file* and what to do, as the end of a sentence without its full stop."""
    if isinstance(error, RecordError):
        return str(error).removesuffix(".")
    code, number = _code(error), getattr(error, "errno", None)
    if code == sqlite3.SQLITE_FULL or number == errno.ENOSPC:
        return f"the disk of {file.parent} is full; make room"
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return f"another program holds {file}; end it"
    if (
        code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM)
        or number in _UNWRITABLE
    ):
        return f"{file} cannot be written; make its folder writable"
    if is_damage(error):
        return f"{file} is damaged. Move it away; the next run makes a new one"
    return f"{file} cannot be used ({getattr(error, 'strerror', None) or error})"


def _code(error: BaseException) -> int:
    return int(getattr(error, "sqlite_errorcode", 0)) & _PRIMARY
