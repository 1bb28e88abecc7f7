"""The journal read: the list of passes, and one pass whole."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from sidecar.errors import RecordError
from sidecar.journal import packing, schema
from sidecar.journal.record import Cut, FaderReport, Pass, Places, Record, StemBalance, Summary
from sidecar.model.snapshot import Event
from sidecar.sqlite_file import reason

_PATIENCE_S = 5.0
_IDS = range(1, 2**63)
"""Those that SQLite gives; to ask it for greater ones is an error."""
_SUMMARIES = """SELECT id, began, ended, source, rate_hz, layout, version, goal, stems, blocks, recorded,
    reading, (SELECT coalesce(sum(lost_frames), 0) FROM cuts WHERE pass = passes.id) AS lost_frames
    FROM passes"""


def passes(file: Path | None = None) -> list[Summary]:
    """All passes in which anything was heard, in the order in which they were begun.

    Raises RecordError when the record cannot be read.
    """
    with _opened(file) as connection:
        rows = connection.execute(f"{_SUMMARIES} WHERE blocks > 0 ORDER BY id")
        return [_summary(row) for row in rows]


def load(id: int, file: Path | None = None) -> Record:
    """One pass, whole. Raises RecordError when there is none of that id, or it cannot be read."""
    with _opened(file) as connection:
        record = _found(connection, "id = ?", id) if id in _IDS else None
    if record is None:
        raise _no_pass(id)
    return record


def latest(file: Path | None = None, *, blocks: int = 1) -> Record | None:
    """The last pass of at least so many 100 ms blocks. Raises RecordError when it cannot be read."""
    with _opened(file) as connection:
        return _found(connection, "blocks >= ? ORDER BY id DESC LIMIT 1", blocks)


def delete(ids: Sequence[int], file: Path | None = None) -> None:
    """Forgets these passes and gives their room back to the disk.

    Raises RecordError, and deletes none, when there is none of an id or the record cannot be written.
    """
    with _opened(file) as connection:
        with connection:
            connection.execute("BEGIN IMMEDIATE")
            for id in ids:
                if (
                    id not in _IDS
                    or not connection.execute("DELETE FROM passes WHERE id = ?", (id,)).rowcount
                ):
                    raise _no_pass(id)
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")


@contextlib.contextmanager
def _opened(file: Path | None) -> Iterator[sqlite3.Connection]:
    file = file or schema.usual_file()
    try:
        # a look leaves no file behind: where there is none, an empty one in memory answers
        there = file if file.exists() else Path(":memory:")
        connection = schema.connect(there, patience_s=_PATIENCE_S)
        connection.row_factory = sqlite3.Row
        with contextlib.closing(connection):
            yield connection
    except (sqlite3.Error, OSError) as error:
        raise RecordError(f"The record of passes cannot be read: {reason(error, file)}.") from error


def _no_pass(id: int) -> RecordError:
    return RecordError(f"There is no pass {id} on record; 'sidecar passes' lists those there are.")


def _summary(row: sqlite3.Row) -> Summary:
    stems = tuple(json.loads(row["stems"]))
    return Summary(
        id=row["id"],
        about=Pass(row["source"], row["rate_hz"], row["layout"], packing.goal(row["goal"]), stems),
        version=row["version"],
        began=datetime.fromisoformat(row["began"]),
        ended=None if row["ended"] is None else datetime.fromisoformat(row["ended"]),
        blocks=row["blocks"],
        lost_frames=row["lost_frames"],
        missing_blocks=row["blocks"] - row["recorded"],
        reading=packing.reading(row["reading"]),
    )


def _found(connection: sqlite3.Connection, where: str, value: int) -> Record | None:
    """The pass as it is at one moment: a run may be writing it just now."""
    with connection:
        connection.execute("BEGIN")
        row = connection.execute(f"{_SUMMARIES} WHERE {where}", (value,)).fetchone()
        return None if row is None else _record(connection, _summary(row))


def _record(connection: sqlite3.Connection, summary: Summary) -> Record:
    def rows(columns: str, table: str, order: str = "id") -> list[Any]:
        query = f"SELECT {columns} FROM {table} WHERE pass = ? ORDER BY {order}"
        return connection.execute(query, (summary.id,)).fetchall()

    batches = rows("*", "batches", "first")

    def column(name: str) -> list[bytes]:
        return [row[name] for row in batches]

    return Record(
        summary,
        place=_places(batches),
        energy=packing.doubles(column("energy")),
        true_peak=packing.singles(column("true_peak")),
        fader_db=packing.singles(column("fader")),
        short_term=packing.singles(column("short_term")),
        integrated=packing.singles(column("integrated")),
        stems=_stems(column, len(summary.about.stems)),
        cuts=tuple(Cut(*row) for row in rows("block, lost_frames", "cuts")),
        events=tuple(Event(*row) for row in rows("seconds, kind, text", "events")),
        told=tuple(
            FaderReport(row["at_s"], row["value_db"], bool(row["is_position"]), row["stem"])
            for row in rows("*", "told")
        ),
    )


def _places(batches: Sequence[sqlite3.Row]) -> Places:
    runs = [row["first"] + np.arange(len(row["energy"]) // 8) for row in batches]
    return np.concatenate([np.empty(0, np.int64), *runs])


def _stems(column: Any, stems: int) -> StemBalance | None:
    if not stems:
        return None
    return StemBalance(
        packing.products(column("covariance"), stems),
        packing.singles(column("stem_peak")).reshape(-1, stems),
        packing.singles(column("stem_fader")).reshape(-1, stems),
    )
