"""The journal read: the list of passes, and one pass whole.

A record may be damaged: each row is checked against its seal, and what cannot be read is said of the pass
that it belongs to, while all others are read as before.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import RecordError
from sidecar.journal import packing, schema
from sidecar.journal.first_page import with_new_first_page
from sidecar.journal.holding import is_held
from sidecar.journal.record import Cut, Damaged, FaderReport, Pass, Record, StemBalance, Summary
from sidecar.journal.seals import Table, is_sound
from sidecar.model.readings import BLOCK_S
from sidecar.model.snapshot import Event
from sidecar.storage.sqlite_file import DATABASE_ERRORS, is_damage, readable_rows, reason

_PATIENCE_S = 5.0
_IDS = range(1, 2**63)
"""Those that SQLite gives; to ask it for greater ones is an error."""
_MOST_BLOCKS = round(366 * 24 * 3600 / BLOCK_S)
"""Of a pass: what a record says beyond a year is damage, and no reason to ask for gigabytes."""
_KINDS_BEFORE = {"mark": "marker"}
"""Kinds of events as records of 0.1 name them."""
_GARBLED = (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError)
"""What turning a row into values may raise where an earlier version wrote it without a seal."""


def passes(file: Path | None = None, *, last: int | None = None) -> list[Summary | Damaged]:
    """Returns all passes that have a block, or the *last* so many, in the order in which they were begun.

    Raises RecordError when the record cannot be read at all.
    """
    with _looking(file) as (connection, damage):
        ids = _ids(connection)
        found = [_listed(connection, id) for id in (ids if last is None else ids[-last:])]
    passes = [entry for entry in found if isinstance(entry, Damaged) or entry.blocks > 0]
    return [Damaged(None, damage), *passes] if damage else passes


def load(id: int, file: Path | None = None, *, despite_damage: bool = False) -> Record:
    """One pass, whole.

    Parameters
    ----------
    despite_damage
        Whether a pass is wanted of which some can no longer be read: that is missing from it then, see
        :attr:`Record.damage`.

    Raises RecordError when there is none of that id, or it cannot be read.
    """
    with _looking(file) as (connection, _):
        record = _found(connection, id) if id in _IDS else None
    if record is None:
        raise _no_pass(id)
    if record.damage and not despite_damage:
        raise RecordError(
            f"Pass {id} is damaged: {record.damage}. "
            f"'sidecar passes --export {id} --to pass.json' writes what is left of it."
        )
    return record


def latest(file: Path | None = None, *, blocks: int = 1) -> Record | None:
    """The last pass of at least so many 100 ms blocks. Raises RecordError when it cannot be read whole."""
    with _looking(file) as (connection, _):
        row = connection.execute(
            "SELECT id FROM passes WHERE blocks >= ? ORDER BY id DESC LIMIT 1", (blocks,)
        ).fetchone()
    return None if row is None else load(row["id"], file)


def to_resume(file: Path | None = None) -> Record | None:
    """Returns the last pass, for a run that resumes it.

    Raises RecordError when it cannot be read whole, or another run is writing it.
    """
    file = file or schema.usual_file()
    record = latest(file)
    if record is not None and is_held(file, record.summary.holder):
        raise RecordError(
            f"Pass {record.summary.id} is still being written by another run. End that run first, or start "
            "without --resume."
        )
    return record


def delete(ids: Sequence[int], file: Path | None = None) -> None:
    """Deletes these passes and frees their space on the disk.

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
    except (*DATABASE_ERRORS, OSError) as error:
        raise _unreadable(reason(error, file)) from error


@contextlib.contextmanager
def _looking(file: Path | None) -> Iterator[tuple[sqlite3.Connection, str]]:
    """The record as it is at one moment, for a run may be writing it; and what is wrong with all of it."""
    file = file or schema.usual_file()
    with contextlib.ExitStack() as closing:
        damage = ""
        try:
            connection = closing.enter_context(_opened(file))
            if not schema.defines_tables(connection):
                raise _unreadable(f"{file} is damaged. Move it away; the next run makes a new one")
        except RecordError as error:
            cause = error.__cause__
            if cause is not None and not is_damage(cause):
                raise
            connection = closing.enter_context(_past_first_page(file, error))
            damage = f"the first page of {file}; export the passes that matter, and move it away"
        connection.execute("BEGIN")  # closing ends it; to end it by itself may fail where pages are damaged
        yield connection, damage


@contextlib.contextmanager
def _past_first_page(file: Path, error: RecordError) -> Iterator[sqlite3.Connection]:
    """A copy with a new first page. Raises *error* where that does not belong to what follows."""
    with tempfile.TemporaryDirectory(prefix="sidecar-") as folder, contextlib.ExitStack() as closing:
        try:
            copy = with_new_first_page(file, Path(folder))
            connection = closing.enter_context(
                contextlib.closing(schema.connect(copy, patience_s=_PATIENCE_S))
            )
            connection.row_factory = sqlite3.Row
            rows, _ = readable_rows(connection, "SELECT * FROM passes", "id")
            if not any(map(is_sound, rows)):
                raise error
            yield connection
        except (*DATABASE_ERRORS, OSError):
            raise error from None


def _unreadable(why: str) -> RecordError:
    return RecordError(f"The record of passes cannot be read: {why}.")


def _no_pass(id: int) -> RecordError:
    return RecordError(f"There is no pass {id} on record; 'sidecar passes' lists them.")


def _ids(connection: sqlite3.Connection) -> list[int]:
    """Those of all passes, of such too whose own row is lost and that have blocks on record."""
    rows, _ = readable_rows(connection, "SELECT id FROM passes", "id")
    ids = {int(row["id"]) for row in rows}
    return sorted(ids | _ids_of_blocks(connection, ids))


def _ids_of_blocks(connection: sqlite3.Connection, known: set[int]) -> set[int]:
    """Passes that blocks on record belong to, from the index alone: one look a pass, from either end."""
    found: set[int] = set()
    for step in (
        "SELECT pass, id FROM batches WHERE pass > ? ORDER BY pass LIMIT 1",
        "SELECT pass, id FROM batches WHERE pass < ? ORDER BY pass DESC LIMIT 1",
    ):
        last = 0 if ">" in step else _IDS.stop - 1
        with contextlib.suppress(*DATABASE_ERRORS):
            while row := connection.execute(step, (last,)).fetchone():
                last = row["pass"]
                if last in known or _has_block(connection, row["id"], last):
                    found.add(last)
    return found


def _has_block(connection: sqlite3.Connection, batch: int, id: int) -> bool:
    """Whether the batch itself is of that pass: the index may be damaged too."""
    row = connection.execute("SELECT pass FROM batches NOT INDEXED WHERE id = ?", (batch,)).fetchone()
    return row is not None and row["pass"] == id


def _listed(connection: sqlite3.Connection, id: int) -> Summary | Damaged:
    try:
        row = connection.execute("SELECT * FROM passes WHERE id = ?", (id,)).fetchone()
    except DATABASE_ERRORS as error:
        if not is_damage(error):
            raise
        row = None
    if row is None:
        return Damaged(id, "its entry in the record cannot be read")
    return _summary(row)


def _summary(row: sqlite3.Row) -> Summary | Damaged:
    if not is_sound(row):
        return Damaged(row["id"], "its entry in the record was changed")
    try:
        summary = Summary(
            id=row["id"],
            about=Pass(
                *(row["source"], row["rate_hz"], row["layout"], packing.goal(row["goal"])),
                tuple(json.loads(row["stems"])),
                row["layout_from"],
            ),
            version=row["version"],
            began=datetime.fromisoformat(row["began"]),
            ended=None if row["ended"] is None else datetime.fromisoformat(row["ended"]),
            blocks=row["blocks"],
            dropped_samples=row["lost_frames"],
            missing_blocks=row["blocks"] - row["recorded"],
            reading=packing.reading(row["reading"]),
            holder=row["holder"],
            dialogue=packing.dialogue(row["dialogue"]),
        )
    except _GARBLED:
        return Damaged(row["id"], "its entry in the record is invalid")
    if summary.blocks > _MOST_BLOCKS:
        return Damaged(row["id"], "its entry in the record says that it lasted for more than a year")
    return summary


def _found(connection: sqlite3.Connection, id: int) -> Record | None:
    row = connection.execute("SELECT * FROM passes WHERE id = ?", (id,)).fetchone()
    if row is None:
        return None
    summary = _summary(row)
    if isinstance(summary, Damaged):
        raise RecordError(f"Pass {summary.id} is damaged: {summary.why}.")
    return _record(connection, summary, notes=row["notes"])


def _record(connection: sqlite3.Connection, summary: Summary, notes: int) -> Record:
    """All of a pass that can be read, and what its entry promises besides."""

    def rows(table: Table, order: str = "id") -> list[sqlite3.Row]:
        query = f"SELECT * FROM {table} WHERE pass = ?"
        found, _ = readable_rows(connection, query, order, (summary.id,))
        own = {row["id"]: row for row in found if row["pass"] == summary.id and is_sound(row)}
        return list(own.values())  # a damaged index may lead to one twice, or to another pass's

    names = summary.about.stems
    batches = _in_order(rows("batches", "first"), summary.blocks, len(names))
    cuts, events, reports = rows("cuts"), rows("events"), rows("told")
    place = np.concatenate([np.empty(0, np.int64), *(np.arange(*_span(row)) for row in batches)])

    def column(name: str) -> list[bytes]:
        return [row[name] for row in batches]

    promised = summary.blocks - summary.missing_blocks
    return Record(
        replace(summary, missing_blocks=summary.blocks - len(place)),
        place=place,
        energy=packing.doubles(column("energy")),
        true_peak=packing.singles(column("true_peak")),
        fader_db=packing.singles(column("fader")),
        short_term=packing.singles(column("short_term")),
        integrated=packing.singles(column("integrated")),
        stems=None
        if not names
        else StemBalance(
            packing.products(column("covariance"), len(names)),
            packing.singles(column("stem_peak")).reshape(-1, len(names)),
            packing.singles(column("stem_fader")).reshape(-1, len(names)),
        ),
        cuts=tuple(Cut(row["block"], row["lost_frames"]) for row in cuts),
        events=tuple(
            Event(row["seconds"], _KINDS_BEFORE.get(row["kind"], row["kind"]), row["text"]) for row in events
        ),
        fader_reports=tuple(_fader_report(row) for row in reports),
        speech=_speech(batches, summary.blocks),
        damage=_damage(promised - len(place), notes - len(cuts) - len(events) - len(reports)),
    )


def _speech(batches: Sequence[sqlite3.Row], blocks: int) -> NDArray[np.uint8]:
    """Where speech was found, up to the last block that was searched; none where a batch is lost."""
    known = [
        (row["speech_first"], np.frombuffer(row["speech"], np.uint8))
        for row in batches
        if isinstance(row["speech_first"], int) and isinstance(row["speech"], bytes)
    ]
    inside = [(first, speech) for first, speech in known if 0 <= first <= first + len(speech) <= blocks]
    whole = np.zeros(max((first + len(speech) for first, speech in inside), default=0), np.uint8)
    for first, speech in inside:
        whole[first : first + len(speech)] = speech
    return whole


def _fader_report(row: sqlite3.Row) -> FaderReport:
    return FaderReport(row["at_s"], row["value_db"], bool(row["is_position"]), row["stem"])


def _damage(blocks: int, notes: int) -> str:
    lost = [f"{blocks * BLOCK_S:.1f} s of it"] if blocks > 0 else []
    lost += [f"{notes} of its cuts, events and fader moves"] if notes > 0 else []
    return f"{' and '.join(lost)} cannot be read" if lost else ""


def _in_order(batches: Sequence[sqlite3.Row], blocks: int, stems: int) -> list[sqlite3.Row]:
    """Those that hold as many blocks in each column, behind those before them and within the pass."""
    kept: list[sqlite3.Row] = []
    end = 0
    sized = [row for row in batches if isinstance(row["first"], int) and isinstance(row["energy"], bytes)]
    for row in sorted(sized, key=lambda row: row["first"]):
        first, past = _span(row)
        if end <= first < past <= blocks and _is_whole(row, past - first, stems):
            kept.append(row)
            end = past
    return kept


def _is_whole(row: sqlite3.Row, blocks: int, stems: int) -> bool:
    sizes = {"energy": 8, "true_peak": 4, "fader": 4, "short_term": 4, "integrated": 4}
    if stems:
        sizes |= {"covariance": 2 * stems * (stems + 1), "stem_peak": 4 * stems, "stem_fader": 4 * stems}
    return all(
        isinstance(row[name], bytes) and len(row[name]) == size * blocks for name, size in sizes.items()
    )


def _span(row: sqlite3.Row) -> tuple[int, int]:
    """First block of a batch, and the one behind its last."""
    return row["first"], row["first"] + len(row["energy"]) // 8
