"""The results of an archive run, in SQLite: each file is recorded as soon as it is measured.

Every file is a transaction of its own, so a killed run loses no reported result; :meth:`Store.sync`
makes what was written last through a power cut. The file is held by one run at a time.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from sidecar.delivery.batch.packing import unpack
from sidecar.delivery.batch.work import Job, Result
from sidecar.delivery.judge.checking import Checked, Outcome, Unread
from sidecar.delivery.judge.dialogue_note import dialogue_notes
from sidecar.delivery.judge.verdict import judge
from sidecar.delivery.measure.fingerprint import Fingerprint
from sidecar.errors import OutputError, RecordError, SourceError
from sidecar.storage.sqlite_file import (
    DATABASE_ERRORS,
    DatabaseKind,
    decoded,
    is_damage,
    readable_rows,
    reason,
)
from sidecar.wave.file_identity import FileIdentity

_OUTCOME = """SELECT files.rowid, asked.path, name, figures, course, error,
    inode, files.size, changed_ns, status_ns
    FROM asked JOIN files USING (path) WHERE place = ?"""

_KIND = DatabaseKind("archive", 0x4C6F_5361, 2)
_PATIENCE_S = 1.0
"""For another run that holds the file."""
_AGAIN = "The results so far are kept. The same command continues."
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
_MORE = (
    "ALTER TABLE files ADD COLUMN status_ns INTEGER",
    "ALTER TABLE files ADD COLUMN digest TEXT",
)
"""What came with version 2. What is on record without it is measured again."""
_ASKED = """CREATE TEMP TABLE asked (
    place INTEGER PRIMARY KEY,
    path BLOB NOT NULL UNIQUE,
    name BLOB NOT NULL,
    due INTEGER,
    size INTEGER,
    since TEXT,
    before_lufs REAL
)"""
_ON_RECORD = """SELECT place, asked.path, measurements, error IS NOT NULL,
    layout = ?1 AND substr(meter || ' ', 1, length(?2) + 1) = ?2 || ' ',
    integrated_lufs, digest, inode, files.size, changed_ns, status_ns
    FROM asked LEFT JOIN files USING (path) WHERE place > ?"""
_CHANGES = """SELECT place, name, since, before_lufs, integrated_lufs, error
    FROM asked LEFT JOIN files USING (path)
    WHERE since IS NOT NULL AND (since != 'readable' OR error IS NULL) AND place > ?"""
_SINCE = """SELECT since FROM asked LEFT JOIN files USING (path)
    WHERE place = ? AND (since != 'readable' OR error IS NULL)"""
_KEEP = """INSERT OR REPLACE INTO files VALUES (?1, ?2, ?3, ?4, ?5, ?6,
    1 + coalesce((SELECT measurements FROM files WHERE path = ?1), 0), ?7, ?8, ?9, ?10, ?11, NULL,
    ?12, ?13)"""
_SAME_CONTENT = "UPDATE files SET inode = ?, changed_ns = ?, status_ns = ? WHERE path = ?"
_REFUSE = """INSERT INTO files (path, layout, meter, measurements, error) VALUES (?, ?, ?, 0, ?)
    ON CONFLICT (path) DO UPDATE SET error = excluded.error"""


@dataclass(frozen=True, slots=True)
class Due:
    """How much there is to measure."""

    files: int
    size_bytes: int


Since = Literal["new", "changed", "readable", "gone", "again"]
"""What became of a file since the last run: it is new on record, it is another or has other content, it could
not be read and now can, it is there no more, or it was measured by another version, as another layout, or
without the dialogue that is asked for now."""


@dataclass(frozen=True, slots=True)
class Change:
    """A file that is not on record as it was."""

    file: str
    since: Since
    before_lufs: float | None = None
    """Its integrated loudness as it was on record; None where it was not, or nothing was read."""
    now_lufs: float | None = None


class Store:
    """An open archive. Raises RecordError, in words, for whatever SQLite cannot do."""

    def __init__(self, path: Path, job: Job) -> None:
        """Makes the file where there is none. Raises RecordError for one that is not ours, is of a newer
        program, or is held by another run; all are left alone."""
        self._path = path
        self._goals = job.goals
        self._measured_so = (job.layout or "", job.meter)
        self._compares_content = job.with_digest
        self._with_dialogue = job.with_dialogue
        if not path.parent.is_dir():
            raise OutputError(f"--archive {path}: there is no folder {path.parent}. Make it first.")
        with self._in_words():
            self._database = sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None)
            self._database.text_factory = decoded
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
        ask = "INSERT OR IGNORE INTO asked (path, name)"
        with self._in_words():
            try:
                # from the index and from the table: where one is damaged, the other has the name
                self._database.execute(f"{ask} SELECT path, path FROM files ORDER BY path")
                self._database.execute(f"{ask} SELECT path, path FROM files NOT INDEXED")
            except DATABASE_ERRORS as error:
                if not is_damage(error):
                    raise
                rows, _ = readable_rows(self._database, "SELECT path FROM files", "path")
                paths = {path for (path,) in rows} | set(self._paths_on_record())
                readable = sorted(path for path in paths if isinstance(path, bytes))
                self._database.executemany(f"{ask} VALUES (?1, ?1)", ((path,) for path in readable))
            (count,) = self._database.execute("SELECT count(*) FROM asked").fetchone()
        return int(count)

    @property
    def files_on_record(self) -> int:
        with self._in_words():
            (count,) = self._database.execute("SELECT count(*) FROM files").fetchone()
        return int(count)

    def gone(self) -> Iterator[str]:
        """The files on record that are there no more, of all that were ever asked for."""
        with self._in_words():
            for path in self._paths_on_record():
                if not os.path.lexists(os.fsdecode(path)):
                    yield os.fsdecode(path)

    def gone_unasked(self) -> Iterator[str]:
        """Those of :meth:`gone` that this run is not about."""
        for path in self.gone():
            with self._in_words():
                asked = self._database.execute("SELECT 1 FROM asked WHERE path = ?", (os.fsencode(path),))
                if asked.fetchone() is None:
                    yield path

    def forget_gone(self) -> int:
        """Takes the files off record that are there no more; returns how many.

        Raises RecordError where that would be all of them: then their disk is away, not the files.
        """
        gone = [(os.fsencode(path),) for path in self.gone()]
        if gone and len(gone) == self.files_on_record:
            raise RecordError(
                f"All {len(gone):,} files of --archive {self._path} are missing, so none was removed. Mount "
                "their disk, or give another archive."
            )
        with self._in_words(), self._database as database:
            database.execute("BEGIN")
            database.executemany("DELETE FROM files WHERE path = ?", gone)
        return len(gone)

    def find_due(self) -> Due:
        """Looks which files are not as they were measured, or were not measured so, or could not be."""
        with self._in_words():
            database = self._database  # no transaction: its end fails where a damaged page was met
            for place, path, *kept in self._pages(_ON_RECORD, *self._measured_so):
                seen = _seen(path)
                since, is_due = self._compared(path, seen, *kept)
                before_lufs = kept[3] if since == "changed" else None
                database.execute(
                    "UPDATE asked SET due = ?, size = ?, since = ?, before_lufs = ? WHERE place = ?",
                    (is_due, seen.size if seen else 0, since, before_lufs, place),
                )
            row = database.execute("SELECT count(*), total(size) FROM asked WHERE due").fetchone()
        return Due(int(row[0]), int(row[1]))

    def _compared(
        self,
        path: bytes,
        seen: FileIdentity | None,
        measurements: int | None,
        is_unread: bool,
        is_measured_so: bool,
        _before_lufs: float | None,
        digest: str | None,
        *identity: object,
    ) -> tuple[Since | None, bool]:
        """What became of a file since it was put on record, and whether it is to be measured."""
        if measurements is None:
            return "new", True
        if seen is None:
            return "gone" if measurements else None, True
        if is_unread:
            return "readable", True
        is_same = list(identity) == [str(seen.inode), seen.size, seen.changed_ns, seen.status_ns]
        if self._compares_content and digest is not None and identity[1] == seen.size:
            is_same = digest == _digest(path)
            if is_same:  # copied back or touched: the record learns by what it is known now
                self._database.execute(
                    _SAME_CONTENT, (str(seen.inode), seen.changed_ns, seen.status_ns, path)
                )
        if not is_same:
            return "changed", True
        if not is_measured_so:
            return "again", True
        return None, self._compares_content and digest is None

    def changes(self) -> Iterator[Change]:
        """The files asked for that are not on record as they were before this run."""
        with self._in_words():
            for _, name, since, before_lufs, now_lufs, error in self._pages(_CHANGES):
                yield Change(os.fsdecode(name), since, before_lufs, None if error else now_lufs)

    def since(self, place: int) -> Since | None:
        """What became of the file at this place; None where it is as it was."""
        row: tuple[Since, ...] | None = None
        with self._in_words(), _past_damage():
            row = self._database.execute(_SINCE, (place,)).fetchone()
        return None if row is None else row[0]

    def due(self) -> Iterator[str]:
        """The files that are to be measured, in order."""
        with self._in_words():
            for _, path in self._pages("SELECT place, path FROM asked WHERE due AND place > ?"):
                yield os.fsdecode(path)

    def keep(self, result: Result) -> None:
        """Puts a file on record, or why it is not; where its page is damaged, :meth:`outcome` says so."""
        path = os.fsencode(result.file)
        with self._in_words(), _past_damage():
            if isinstance(result, Unread):
                error = result.error.encode(errors="backslashreplace").decode()  # names need not be text
                self._database.execute(_REFUSE, (path, *self._measured_so, error))
                return
            seen = result.seen
            self._database.execute(
                _KEEP,
                (
                    *(path, str(seen.inode), seen.size, seen.changed_ns, *self._measured_so, result.seconds),
                    *(result.integrated_lufs, result.max_true_peak_dbtp, result.figures, result.history),
                    *(seen.status_ns, result.digest),
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
        """The one at this place, or that its result in the archive is damaged."""
        row = None
        with self._in_words(), _past_damage():
            row = self._database.execute(_OUTCOME, (place,)).fetchone()
        if row is None or not self._is_row_of(*row[:2]):
            return self._unreadable(place)
        _, path, name, figures, history, error, inode, *seen = row
        file = os.fsdecode(name)
        if error is not None:
            return Unread(file, error.replace(os.fsdecode(path), file))
        try:
            measured, more, kept_dialogue = unpack(file, figures, history)
            identity = FileIdentity(int(inode), *seen)
        except (RecordError, ValueError, TypeError):
            again = "its result in the archive is damaged. Run this again to measure it."
            self.keep(Unread(os.fsdecode(path), f"{os.fsdecode(path)}: {again}"))  # the next run finds it due
            return Unread(file, f"{file}: {again}")
        dialogue = tuple(kept_dialogue) if self._with_dialogue else ()
        verdicts = (judge(measured, goal, (*more, *dialogue_notes(dialogue, goal))) for goal in self._goals)
        return Checked(file, measured, tuple(verdicts), identity, tuple(more), dialogue=dialogue)

    def _is_row_of(self, id: int, path: bytes) -> bool:
        """Whether the index has led to the row of that path: it may be damaged itself."""
        found = None
        with self._in_words(), _past_damage():
            row = "SELECT path FROM files NOT INDEXED WHERE rowid = ?"
            found = self._database.execute(row, (id,)).fetchone()
        return bool(found == (path,))

    def _unreadable(self, place: int) -> Unread:
        (name,) = self._database.execute("SELECT name FROM asked WHERE place = ?", (place,)).fetchone()
        file = os.fsdecode(name)
        return Unread(
            file,
            f"{file}: a page of the archive is damaged. Move the file away; the next run makes a new one.",
        )

    def close(self) -> None:
        self._database.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _pages(self, select: str, *values: object) -> Iterator[tuple[Any, ...]]:
        """All rows, some at a time, so that others may be written meanwhile. *select* gives the place first
        and ends in ``place > ?``. Those of damaged pages are left out."""
        last = 0
        asked = f"SELECT place FROM asked WHERE place > ? ORDER BY place LIMIT {_PAGE}"
        while places := [place for (place,) in self._database.execute(asked, (last,))]:
            try:
                rows = self._between(select, values, last, places[-1])
            except DATABASE_ERRORS as error:
                if not is_damage(error):
                    raise
                rows = self._one_by_one(select, values, places)
            yield from rows
            last = places[-1]

    def _between(self, select: str, values: Sequence[object], last: int, stop: int) -> list[tuple[Any, ...]]:
        """Those behind the place *last* up to *stop*."""
        return self._database.execute(
            f"{select} AND place <= ? ORDER BY place", (*values, last, stop)
        ).fetchall()

    def _one_by_one(self, select: str, values: Sequence[object], places: list[int]) -> list[tuple[Any, ...]]:
        rows: list[tuple[Any, ...]] = []
        for place in places:
            with _past_damage():
                rows += self._between(select, values, place - 1, place)
        return rows

    def _paths_on_record(self) -> Iterator[bytes]:
        """Of all files, some in memory at a time; of a damaged table those that can be read."""
        last = 0
        select = "SELECT rowid, path FROM files NOT INDEXED WHERE rowid > ?"
        try:
            while rows := self._database.execute(
                f"{select} ORDER BY rowid LIMIT {_PAGE}", (last,)
            ).fetchall():
                yield from (path for _, path in rows)
                last = rows[-1][0]
        except DATABASE_ERRORS as error:
            if not is_damage(error):
                raise
            rows, _ = readable_rows(self._database, select, "rowid", (last,))
            yield from (path for _, path in rows)

    def _prepare(self) -> None:
        database = self._database
        database.execute("PRAGMA locking_mode = EXCLUSIVE")  # two runs would measure everything twice
        version = _KIND.version(database, self._path)
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA synchronous = NORMAL")  # sync() is what brings it through a power cut
        with database:
            database.execute("BEGIN EXCLUSIVE")
            for statement in (*(_TABLES if version == 0 else ()), *(_MORE if version < _KIND.newest else ())):
                database.execute(statement)
            _KIND.mark(database)
        database.execute(_ASKED)

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except DATABASE_ERRORS as error:
            again = "" if is_damage(error) else f" {_AGAIN}"
            raise RecordError(f"--archive: {reason(error, self._path)}.{again}") from error


@contextmanager
def _past_damage() -> Iterator[None]:
    """Leaves off where a page is damaged."""
    try:
        yield
    except DATABASE_ERRORS as error:
        if not is_damage(error):
            raise


def _seen(path: bytes) -> FileIdentity | None:
    try:
        return FileIdentity.of(Path(os.fsdecode(path)).stat())
    except OSError:
        return None


def _digest(path: bytes) -> str | None:
    try:
        return Fingerprint.of(Path(os.fsdecode(path))).sha256
    except SourceError:
        return None
