"""What an archive measured, in SQLite: each file is on record the moment it is measured.

Every file is a transaction of its own, so a killed run loses nothing that was told; :meth:`Store.sync`
makes what was written last through a power cut. The file is held by one run at a time.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sidecar.delivery.batch.packing import unpack
from sidecar.delivery.batch.work import Job, Result
from sidecar.delivery.judge.checking import Checked, Outcome, Unread
from sidecar.delivery.judge.verdict import judge
from sidecar.errors import OutputError, RecordError
from sidecar.sqlite_file import DatabaseKind, is_damage, reason
from sidecar.wave.bext_write import Seen

_OUTCOME = """SELECT name, figures, course, error, inode, files.size, changed_ns
    FROM asked JOIN files USING (path) WHERE place = ?"""

_KIND = DatabaseKind("archive", 0x4C6F_5361, 1)
_PATIENCE_S = 1.0
"""For another run that holds the file."""
_AGAIN = "What was measured stays on record, and the same command goes on with it."
_PAGE = 500
"""Rows that are in memory at a time."""

_TABLES = (
    # A path is the bytes that the system knows it by: CAST(path AS TEXT) shows it.
    """CREATE TABLE files (
        path BLOB PRIMARY KEY,
        inode TEXT,  -- some systems have larger ones than an INTEGER holds
        size INTEGER,
        changed_ns INTEGER,
        layout TEXT NOT NULL,
        meter TEXT NOT NULL,
        measurements INTEGER NOT NULL,
        seconds REAL,
        integrated_lufs REAL,
        max_true_peak_dbtp REAL,
        figures TEXT,
        course BLOB,
        error TEXT
    )""",
)
_ASKED = """CREATE TEMP TABLE asked (
    place INTEGER PRIMARY KEY, path BLOB NOT NULL UNIQUE, name BLOB NOT NULL, due INTEGER, size INTEGER
)"""
_KEEP = """INSERT OR REPLACE INTO files VALUES (?1, ?2, ?3, ?4, ?5, ?6,
    1 + coalesce((SELECT measurements FROM files WHERE path = ?1), 0), ?7, ?8, ?9, ?10, ?11, NULL)"""
_REFUSE = """INSERT INTO files (path, layout, meter, measurements, error) VALUES (?, ?, ?, 0, ?)
    ON CONFLICT (path) DO UPDATE SET error = excluded.error"""


@dataclass(frozen=True, slots=True)
class Due:
    """How much there is to measure."""

    files: int
    size_bytes: int


class Store:
    """An open archive. Raises RecordError, in words, for whatever SQLite cannot do."""

    def __init__(self, path: Path, job: Job) -> None:
        """Makes the file where there is none. Raises RecordError for one that is not ours, is of a newer
        program, or is held by another run; all are left alone."""
        self._path = path
        self._goals = job.goals
        self._measured_so = (job.layout or "", job.meter)
        if not path.parent.is_dir():
            raise OutputError(f"--archive {path}: there is no folder {path.parent}. Make it first.")
        with self._in_words():
            self._database = sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None)
            try:
                self._prepare()
            except BaseException:
                self._database.close()
                raise

    def ask(self, names: Iterable[str]) -> int:
        """The files that this run is about, each once; returns how many they are."""
        pairs = ((os.fsencode(Path(name).absolute()), os.fsencode(name)) for name in names)
        with self._in_words(), self._database as database:
            database.execute("BEGIN")
            database.executemany("INSERT OR IGNORE INTO asked (path, name) VALUES (?, ?)", pairs)
            (count,) = database.execute("SELECT count(*) FROM asked").fetchone()
        return int(count)

    def ask_for_all(self) -> int:
        """As :meth:`ask`, of every file on record."""
        with self._in_words():
            self._database.execute(
                "INSERT OR IGNORE INTO asked (path, name) SELECT path, path FROM files ORDER BY path"
            )
            (count,) = self._database.execute("SELECT count(*) FROM asked").fetchone()
        return int(count)

    def find_due(self) -> Due:
        """Looks which files are not as they were measured, or were not measured so, or could not be."""
        with self._in_words(), self._database as database:
            database.execute("BEGIN")
            for place, path, *kept in self._pages(
                "SELECT place, asked.path, inode, files.size, changed_ns FROM asked LEFT JOIN files"
                " ON files.path = asked.path AND error IS NULL AND layout = ? AND meter = ? WHERE place > ?",
                *self._measured_so,
            ):
                seen = _seen(path)
                due = seen is None or kept != [str(seen.inode), seen.size, seen.changed_ns]
                size = seen.size if seen else 0
                database.execute("UPDATE asked SET due = ?, size = ? WHERE place = ?", (due, size, place))
            row = database.execute("SELECT count(*), total(size) FROM asked WHERE due").fetchone()
        return Due(int(row[0]), int(row[1]))

    def due(self) -> Iterator[str]:
        """The files that are to be measured, in order."""
        with self._in_words():
            for _, path in self._pages("SELECT place, path FROM asked WHERE due AND place > ?"):
                yield os.fsdecode(path)

    def keep(self, result: Result) -> None:
        """Puts a file on record, or why it is not."""
        path = os.fsencode(result.file)
        with self._in_words():
            if isinstance(result, Unread):
                error = result.error.encode(errors="backslashreplace").decode()  # names need not be text
                self._database.execute(_REFUSE, (path, *self._measured_so, error))
                return
            seen = result.seen
            self._database.execute(
                _KEEP,
                (
                    *(path, str(seen.inode), seen.size, seen.changed_ns, *self._measured_so, result.seconds),
                    *(result.integrated_lufs, result.max_true_peak_dbtp, result.figures, result.course),
                ),
            )

    def sync(self) -> None:
        """Brings what was kept to the disk itself."""
        with self._in_words():
            self._database.execute("PRAGMA wal_checkpoint(PASSIVE)")

    def outcomes(self) -> Iterator[tuple[int, Outcome]]:
        """Places and files in the order asked for, judged now, with one in memory at a time."""
        with self._in_words():
            for (place,) in self._pages("SELECT place FROM asked WHERE place > ?"):
                yield place, self.outcome(place)

    def outcome(self, place: int) -> Outcome:
        """The one at this place."""
        with self._in_words():
            name, figures, course, error, inode, *seen = self._database.execute(_OUTCOME, (place,)).fetchone()
        file = os.fsdecode(name)
        if error is not None:
            return Unread(file, error)
        measured, more = unpack(file, figures, course)
        return Checked(
            file,
            measured,
            tuple(judge(measured, goal, more) for goal in self._goals),
            Seen(int(inode), *seen),
        )

    def close(self) -> None:
        self._database.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _pages(self, select: str, *values: object) -> Iterator[tuple[Any, ...]]:
        """All rows, some at a time, so that others may be written meanwhile. *select* gives the place first
        and ends in ``place > ?``."""
        last = 0
        while rows := self._database.execute(
            f"{select} ORDER BY place LIMIT {_PAGE}", (*values, last)
        ).fetchall():
            yield from rows
            last = rows[-1][0]

    def _prepare(self) -> None:
        database = self._database
        database.execute("PRAGMA locking_mode = EXCLUSIVE")  # two runs would measure everything twice
        version = _KIND.version(database, self._path)
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA synchronous = NORMAL")  # sync() is what brings it through a power cut
        with database:
            database.execute("BEGIN EXCLUSIVE")
            if version == 0:
                for statement in _TABLES:
                    database.execute(statement)
                _KIND.mark(database)
        database.execute(_ASKED)

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            again = "" if is_damage(error) else f" {_AGAIN}"
            raise RecordError(f"--archive: {reason(error, self._path)}.{again}") from error


def _seen(path: bytes) -> Seen | None:
    try:
        return Seen.of(Path(os.fsdecode(path)).stat())
    except OSError:
        return None
