"""Entries as rows of the file. Whoever calls has a transaction open."""

from __future__ import annotations

import json
import sqlite3

from sidecar.journal import packing
from sidecar.journal.entries import Aimed, Batch, Ended, Entry, Resumed
from sidecar.journal.record import Cut, FaderReport, Pass, StemBalance
from sidecar.model.snapshot import Event
from sidecar.version import program_version


def begin(connection: sqlite3.Connection, about: Pass, began: str, holder: int) -> int:
    """A new pass; returns its id."""
    cursor = connection.execute(
        "INSERT INTO passes (holder, began, source, rate_hz, layout, version, goal, stems)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (
            *(holder, began, _text(about.source), about.rate_hz, about.layout, program_version()),
            *(packing.pack_fields(about.goal), json.dumps([_text(stem) for stem in about.stems])),
        ),
    )
    if cursor.lastrowid is None:
        raise sqlite3.DatabaseError("no row was made for the pass")
    return cursor.lastrowid


def take_over(connection: sqlite3.Connection, resumed: Resumed, holder: int) -> bool:
    """Makes an old pass the holder's own; False where it is gone, or somebody writes it still."""
    taken = connection.execute(
        "UPDATE passes SET holder = ?, ended = NULL WHERE id = ? AND blocks = ?",
        (holder, resumed.id, resumed.blocks),
    )
    return bool(taken.rowcount)


def is_held(connection: sqlite3.Connection, id: int, holder: int) -> bool:
    """Whether the pass is still there, and nobody else goes on with it."""
    found = connection.execute("SELECT 1 FROM passes WHERE id = ? AND holder = ?", (id, holder))
    return found.fetchone() is not None


def write(connection: sqlite3.Connection, id: int, entry: Entry) -> None:
    """Adds *entry* to the pass."""
    match entry:
        case Batch():
            _write_batch(connection, id, entry)
        case Cut(block, lost_frames):
            connection.execute(
                "INSERT INTO cuts (pass, block, lost_frames) VALUES (?, ?, ?)", (id, block, lost_frames)
            )
        case Event(seconds, kind, text):
            connection.execute(
                "INSERT INTO events (pass, seconds, kind, text) VALUES (?, ?, ?, ?)",
                (id, seconds, kind, _text(text)),
            )
        case FaderReport(at_s, value_db, is_position, stem):
            connection.execute(
                "INSERT INTO told (pass, at_s, value_db, is_position, stem) VALUES (?, ?, ?, ?, ?)",
                (id, at_s, value_db, is_position, _text(stem)),
            )
        case Aimed(goal):
            connection.execute("UPDATE passes SET goal = ? WHERE id = ?", (packing.pack_fields(goal), id))
        case Ended():
            _end(connection, id, entry)


def _write_batch(connection: sqlite3.Connection, id: int, batch: Batch) -> None:
    connection.execute(
        "INSERT INTO batches (pass, first, energy, true_peak, fader, short_term, integrated,"
        " covariance, stem_peak, stem_fader) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            *(id, batch.first, packing.pack_doubles(batch.energy), packing.pack_singles(batch.true_peak)),
            *(packing.pack_singles(batch.fader_db), packing.pack_singles(batch.short_term)),
            *(packing.pack_singles(batch.integrated), *_stem_columns(batch.stems)),
        ),
    )
    connection.execute(
        "UPDATE passes SET blocks = ?, recorded = recorded + ?, reading = ? WHERE id = ?",
        (batch.end, len(batch.energy), packing.pack_fields(batch.reading), id),
    )


def _stem_columns(stems: StemBalance | None) -> tuple[bytes | None, bytes | None, bytes | None]:
    if stems is None:
        return None, None, None
    return (
        packing.pack_products(stems.covariance),
        packing.pack_singles(stems.true_peak),
        packing.pack_singles(stems.fader_db),
    )


def _end(connection: sqlite3.Connection, id: int, ended: Ended) -> None:
    """A pass in which nothing was heard leaves no trace."""
    connection.execute("UPDATE passes SET ended = ? WHERE id = ?", (ended.at, id))
    if ended.reading is not None:
        text = packing.pack_fields(ended.reading)
        connection.execute("UPDATE passes SET reading = ? WHERE id = ?", (text, id))
    connection.execute("DELETE FROM passes WHERE id = ? AND blocks = 0", (id,))


def _text(name: str) -> str:
    """A file or a stem need not have a name that is text, and SQLite takes nothing else."""
    return name.encode("utf-8", "replace").decode()
