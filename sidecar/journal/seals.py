"""A checksum on each row, which SQLite has not: a flipped bit in a figure is damage, no other figure."""

from __future__ import annotations

import sqlite3
import struct
import zlib
from collections.abc import Container, Iterable
from typing import Literal, get_args

Table = Literal["passes", "batches", "cuts", "events", "told"]
TABLES: tuple[Table, ...] = get_args(Table)


def seal(connection: sqlite3.Connection, table: Table, id: int) -> None:
    """Writes the checksum of a row as it is. The caller has a transaction open."""
    cursor = connection.execute(f"SELECT * FROM {table} WHERE id = ?", (id,))
    names = [column[0] for column in cursor.description]
    row = cursor.fetchone()
    if row is not None:
        crc = _checksum(names, row)
        connection.execute(f"UPDATE {table} SET crc = ? WHERE id = ?", (crc, id))


def seal_all(connection: sqlite3.Connection, damaged: Container[tuple[Table, int]]) -> None:
    """Seals every row but the damaged ones of a record whose tables have changed. The caller has a
    transaction open."""
    for table in TABLES:
        for (id,) in connection.execute(f"SELECT id FROM {table}").fetchall():
            if (table, id) not in damaged:
                seal(connection, table, id)


def damaged_rows(connection: sqlite3.Connection) -> set[tuple[Table, int]]:
    """Table and id of each row that is not as it was sealed."""
    found: set[tuple[Table, int]] = set()
    for table in TABLES:
        cursor = connection.execute(f"SELECT * FROM {table}")
        cursor.row_factory = sqlite3.Row
        found |= {(table, row["id"]) for row in cursor if not is_sound(row)}
    return found


def is_sound(row: sqlite3.Row) -> bool:
    """Whether a row, of all its columns, is as it was sealed."""
    return bool(row["crc"] == _checksum(row.keys(), tuple(row)))


def _checksum(names: Iterable[str], values: Iterable[object]) -> int:
    """CRC-32 (ISO 3309) of all columns but its own, each with its type and length."""
    parts: list[bytes] = []
    for name, value in zip(names, values, strict=True):
        if name == "crc":
            continue
        if type(value) is bytes:
            parts += (b"b%d:" % len(value), value)
        elif type(value) is str:
            content = value.encode("utf-8", "surrogateescape")
            parts += (b"t%d:" % len(content), content)
        elif type(value) is float:
            parts.append(b"f" + struct.pack("<d", value))
        else:
            parts.append(b"i%d:" % value if isinstance(value, int) else b"n")
    return zlib.crc32(b"".join(parts))
