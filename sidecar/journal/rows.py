"""Entries as rows of the file. The caller has a transaction open."""

from __future__ import annotations

import json
import sqlite3

from sidecar.journal import packing
from sidecar.journal.entries import Aimed, Batch, Ended, Entry, Resumed
from sidecar.journal.record import Cut, FaderReport, Pass
from sidecar.journal.seals import Table, seal
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.snapshot import Event
from sidecar.version import program_version


def begin(connection: sqlite3.Connection, about: Pass, began: str, holder: int) -> int:
    """A new pass; returns its id."""
    cursor = connection.execute(
        "INSERT INTO passes (holder, began, source, rate_hz, layout, version, goal, stems,"
        " layout_from) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            *(holder, began, _text(about.source), about.rate_hz, about.layout, program_version()),
            *(packing.pack_fields(about.goal), json.dumps([_text(stem) for stem in about.stems])),
            about.layout_from,
        ),
    )
    if cursor.lastrowid is None:
        raise sqlite3.DatabaseError("no row was made for the pass")
    seal(connection, "passes", cursor.lastrowid)
    return cursor.lastrowid


def take_over(connection: sqlite3.Connection, resumed: Resumed, holder: int) -> bool:
    """Assigns an old pass to the holder; False where it is gone, or another run is still writing it."""
    taken = connection.execute(
        "UPDATE passes SET holder = ?, ended = NULL, dialogue = ''"
        " WHERE id = ? AND blocks = ? AND holder = ?",
        (holder, resumed.id, resumed.blocks, resumed.holder),
    )
    if not taken.rowcount:
        return False
    seal(connection, "passes", resumed.id)
    return True


def is_held(connection: sqlite3.Connection, id: int, holder: int) -> bool:
    """True while the pass exists and no other run has resumed it."""
    found = connection.execute("SELECT 1 FROM passes WHERE id = ? AND holder = ?", (id, holder))
    return found.fetchone() is not None


def write(connection: sqlite3.Connection, id: int, entry: Entry) -> None:
    """Adds *entry* to the pass."""
    match entry:
        case Batch():
            _write_batch(connection, id, entry)
        case Cut(block, dropped_samples):
            _note(connection, id, "cuts", {"block": block, "lost_frames": dropped_samples})
            connection.execute(
                "UPDATE passes SET lost_frames = lost_frames + ? WHERE id = ?", (dropped_samples, id)
            )
        case Event(seconds, kind, text):
            _note(connection, id, "events", {"seconds": seconds, "kind": kind, "text": _text(text)})
        case FaderReport(at_s, value_db, is_position, stem):
            values = {"at_s": at_s, "value_db": value_db, "is_position": is_position, "stem": _text(stem)}
            _note(connection, id, "told", values)
        case Aimed(goal):
            connection.execute("UPDATE passes SET goal = ? WHERE id = ?", (packing.pack_fields(goal), id))
        case Ended():
            _end(connection, id, entry)
    seal(connection, "passes", id)


def _note(connection: sqlite3.Connection, id: int, table: Table, values: dict[str, object]) -> None:
    _insert(connection, table, {"pass": id, **values})
    connection.execute("UPDATE passes SET notes = notes + 1 WHERE id = ?", (id,))


def _insert(connection: sqlite3.Connection, table: Table, values: dict[str, object]) -> None:
    marks = ", ".join("?" * len(values))
    cursor = connection.execute(
        f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})", tuple(values.values())
    )
    if cursor.lastrowid is not None:
        seal(connection, table, cursor.lastrowid)


def _write_batch(connection: sqlite3.Connection, id: int, batch: Batch) -> None:
    columns = {
        "pass": id,
        "first": batch.first,
        "energy": packing.pack_doubles(batch.energy),
        "true_peak": packing.pack_singles(batch.true_peak),
        "fader": packing.pack_singles(batch.fader_db),
        "short_term": packing.pack_singles(batch.short_term),
        "integrated": packing.pack_singles(batch.integrated),
    }
    if batch.stems is not None:
        columns["covariance"] = packing.pack_products(batch.stems.covariance)
        columns["stem_peak"] = packing.pack_singles(batch.stems.true_peak)
        columns["stem_fader"] = packing.pack_singles(batch.stems.fader_db)
    if batch.dialogue is not None:
        columns["speech_first"] = batch.dialogue.first
        columns["speech"] = batch.dialogue.speech.tobytes()
        _write_dialogue(connection, id, batch.dialogue.found)
    _insert(connection, "batches", columns)
    connection.execute(
        "UPDATE passes SET blocks = ?, recorded = recorded + ?, reading = ? WHERE id = ?",
        (batch.next_block, len(batch.energy), packing.pack_fields(batch.reading), id),
    )


def _write_dialogue(connection: sqlite3.Connection, id: int, found: DialogueLoudness) -> None:
    connection.execute("UPDATE passes SET dialogue = ? WHERE id = ?", (packing.pack_fields(found), id))


def _end(connection: sqlite3.Connection, id: int, ended: Ended) -> None:
    """Ends the pass; one without a block is deleted."""
    connection.execute("UPDATE passes SET ended = ? WHERE id = ?", (ended.at, id))
    if ended.reading is not None:
        text = packing.pack_fields(ended.reading)
        connection.execute("UPDATE passes SET reading = ? WHERE id = ?", (text, id))
    if ended.dialogue is not None:
        _write_dialogue(connection, id, ended.dialogue)
    connection.execute("DELETE FROM passes WHERE id = ? AND blocks = 0", (id,))


def _text(name: str) -> str:
    """A file or a stem need not have a name that is text, and SQLite takes nothing else."""
    return name.encode("utf-8", "replace").decode()
