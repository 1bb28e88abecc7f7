"""The file of the journal: its tables, and how an older one becomes a newer one.

A new file is made by the same steps that bring an old one up to date. A step that has been released is
never changed; a change is a step of its own.
"""

from __future__ import annotations

import contextlib
import sqlite3
from itertools import chain
from pathlib import Path

from sidecar.journal.seals import TABLES, damaged_rows, seal_all
from sidecar.settings.locations import data_folder
from sidecar.storage.sqlite_file import DatabaseKind, decoded

_PASSES_AND_BLOCKS = (
    # ids are never given twice: they order the passes, whatever the clock says
    """CREATE TABLE passes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        holder INTEGER NOT NULL,
        began TEXT NOT NULL,
        ended TEXT,
        source TEXT NOT NULL,
        rate_hz INTEGER NOT NULL,
        layout TEXT NOT NULL,
        version TEXT NOT NULL,
        goal TEXT NOT NULL,
        blocks INTEGER NOT NULL DEFAULT 0,
        reading TEXT NOT NULL DEFAULT '{}'
    )""",
    """CREATE TABLE batches (
        id INTEGER PRIMARY KEY,
        pass INTEGER NOT NULL REFERENCES passes ON DELETE CASCADE,
        first INTEGER NOT NULL,
        energy BLOB NOT NULL,
        true_peak BLOB NOT NULL,
        fader BLOB NOT NULL,
        short_term BLOB NOT NULL,
        integrated BLOB NOT NULL,
        UNIQUE (pass, first)
    )""",
    """CREATE TABLE cuts (
        id INTEGER PRIMARY KEY,
        pass INTEGER NOT NULL REFERENCES passes ON DELETE CASCADE,
        block INTEGER NOT NULL,
        lost_frames INTEGER NOT NULL
    )""",
    """CREATE TABLE events (
        id INTEGER PRIMARY KEY,
        pass INTEGER NOT NULL REFERENCES passes ON DELETE CASCADE,
        seconds REAL NOT NULL,
        kind TEXT NOT NULL,
        text TEXT NOT NULL
    )""",
    "CREATE INDEX cuts_of_pass ON cuts (pass)",
    "CREATE INDEX events_of_pass ON events (pass)",
)

_STEMS_AND_FADER = (
    "ALTER TABLE passes ADD COLUMN stems TEXT NOT NULL DEFAULT '[]'",
    "ALTER TABLE batches ADD COLUMN covariance BLOB",
    "ALTER TABLE batches ADD COLUMN stem_peak BLOB",
    "ALTER TABLE batches ADD COLUMN stem_fader BLOB",
    """CREATE TABLE told (
        id INTEGER PRIMARY KEY,
        pass INTEGER NOT NULL REFERENCES passes ON DELETE CASCADE,
        at_s REAL NOT NULL,
        value_db REAL NOT NULL,
        is_position INTEGER NOT NULL,
        stem TEXT NOT NULL
    )""",
    "CREATE INDEX told_of_pass ON told (pass)",
)

_BLOCKS_ON_RECORD = (
    "ALTER TABLE passes ADD COLUMN recorded INTEGER NOT NULL DEFAULT 0",
    """UPDATE passes SET recorded =
        (SELECT coalesce(sum(length(energy)), 0) / 8 FROM batches WHERE pass = passes.id)""",
)

_SEALS = (
    *(f"ALTER TABLE {table} ADD COLUMN crc INTEGER" for table in ("batches", "cuts", "events", "told")),
    "ALTER TABLE passes ADD COLUMN lost_frames INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE passes ADD COLUMN notes INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE passes ADD COLUMN crc INTEGER",
    """UPDATE passes SET
        lost_frames = (SELECT coalesce(sum(lost_frames), 0) FROM cuts WHERE pass = passes.id),
        notes = (SELECT count(*) FROM cuts WHERE pass = passes.id)
            + (SELECT count(*) FROM events WHERE pass = passes.id)
            + (SELECT count(*) FROM told WHERE pass = passes.id)""",
)
"""Checksums, and in each pass the number of its rows in the tables cuts, events and told (its notes)."""

_LAYOUT_ORIGIN = ("ALTER TABLE passes ADD COLUMN layout_from TEXT NOT NULL DEFAULT ''",)

_DIALOGUE = (
    "ALTER TABLE passes ADD COLUMN dialogue TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE batches ADD COLUMN speech_first INTEGER",
    "ALTER TABLE batches ADD COLUMN speech BLOB",
)
"""What the dialogue read, and in which blocks speech was found, which is known some blocks later."""

STEPS = (_PASSES_AND_BLOCKS, _STEMS_AND_FADER, _BLOCKS_ON_RECORD, _SEALS, _LAYOUT_ORIGIN, _DIALOGUE)
NEWEST = len(STEPS)
_SEALED = 4
"""The first version whose rows have seals."""
PAGE_BYTES = 4096
KIND = DatabaseKind("record of passes", 0x4C6F_5364, NEWEST)


def usual_file() -> Path:
    """Where the journal lies on this machine; it need not exist."""
    return data_folder() / "passes.sqlite"


def log_of(path: Path) -> Path:
    """Where SQLite keeps what it has not brought into the file yet."""
    return path.with_name(f"{path.name}-wal")


def connect(path: Path, *, patience_s: float) -> sqlite3.Connection:
    """Opens the file, makes it where it does not exist, and brings it up to date.

    patience_s: how long to wait for another process that holds it.
    Raises RecordError for a file that is not ours or is of a newer program, both of which are left
    alone; sqlite3.Error and OSError where the disk does not let it.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    connection = sqlite3.connect(path, timeout=patience_s, isolation_level=None)
    connection.text_factory = decoded
    try:
        _prepare(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def defines_tables(connection: sqlite3.Connection) -> bool:
    """Whether the tables have the columns that this version gives them: names may be damaged as well."""
    with contextlib.closing(sqlite3.connect(":memory:")) as new:
        for statement in chain.from_iterable(STEPS):
            new.execute(statement)
        return _columns(connection) == _columns(new)


def _columns(connection: sqlite3.Connection) -> list[list[tuple[object, ...]]]:
    return [
        [tuple(column) for column in connection.execute(f"PRAGMA table_info({table})")] for table in TABLES
    ]


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    with connection:
        connection.execute("BEGIN")  # one look: another sidecar may be making the file just now
        version = KIND.version(connection, path)
    if version == 0:
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        connection.execute("PRAGMA auto_vacuum = FULL")  # a deleted pass gives its room back
    connection.execute("PRAGMA journal_mode = WAL")
    # FULL: the log is on the disk after each commit. NORMAL would leave all since the last checkpoint,
    # some three minutes of a stereo pass, to a power cut; two syncs a second are no load for a disk.
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA fullfsync = ON")  # macOS: through the drive's own cache as well
    connection.execute("PRAGMA foreign_keys = ON")
    if version < NEWEST:
        _migrate(connection, path)


def _migrate(connection: sqlite3.Connection, path: Path) -> None:
    with connection:
        connection.execute("BEGIN IMMEDIATE")
        version = KIND.version(connection, path)  # another sidecar may have been quicker
        damaged = damaged_rows(connection) if version >= _SEALED else ()
        for statement in chain.from_iterable(STEPS[version:]):
            connection.execute(statement)
        if 0 < version < NEWEST:
            seal_all(connection, damaged)  # the steps have changed what the seals are made of
        KIND.mark(connection)
