"""The journal: queues entries at once, and writes them twice a second in a thread of its own.

The measuring thread never waits for the disk. While writing fails, the journal reports the fault, keeps the
entries up to a bound in memory, and writes them once the disk works again.
"""

from __future__ import annotations

import logging
import secrets
import sqlite3
import threading
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path

from sidecar.errors import RecordError
from sidecar.journal import rows, schema
from sidecar.journal.entries import Batch, Entry, MeasuredBlocks, Resumed, merged
from sidecar.journal.holding import Hold
from sidecar.journal.open_pass import OpenPass
from sidecar.journal.record import Pass, Record
from sidecar.model.readings import BLOCK_S
from sidecar.storage.sqlite_file import DATABASE_ERRORS, reason

log = logging.getLogger(__name__)

PERIOD_S = 0.5
"""From one write to the next: a kill loses less than a second, even where the write itself and the block in
progress take another half."""
ROOM_BYTES = 64 << 20
"""What may wait for the disk: some 16 h of a mix, an hour and a half of one with 16 stems."""
_ENTRY_BYTES = 500
"""Approximate bytes of an entry without its arrays."""
_CHUNK = 200
"""Entries in one transaction, so that a long fault is followed by several short writes."""
_LONG_LOG_BYTES = 16 << 20
"""From here on the log is emptied by force, and written rarely where that cannot be: a commit takes the same
few pages however much is in it."""
_RARELY = 20
_LONGEST_LOG_BYTES = 64 << 20
_PATIENCE_S = 1.0
"""Seconds to wait for another process that has locked the file."""


def utc_now() -> datetime:
    """The wall clock, which may be set at any time: it dates passes, it never orders them."""
    return datetime.now(UTC)


class Journal:
    """The record of every pass. Its calls return at once and never raise."""

    def __init__(
        self,
        file: Path,
        *,
        clock: Callable[[], datetime] = utc_now,
        period_s: float = PERIOD_S,
        room_bytes: int = ROOM_BYTES,
    ) -> None:
        """clock: what dates the passes. room_bytes: what may wait for the disk."""
        self._file = file
        self._clock = clock
        self._period_s = period_s
        self._room_bytes = room_bytes
        self._holder = secrets.randbits(62)
        self._given: deque[tuple[OpenPass, Entry]] = deque()
        self._given_bytes = 0
        """Counted by the worker alone, as *_gathered_bytes* is by the writer alone: no lock is needed."""
        self._gathered_bytes = 0
        self._pending: list[tuple[OpenPass, Entry]] = []
        self._pending_bytes = 0
        self._ids: dict[OpenPass, int] = {}
        self._connection: sqlite3.Connection | None = None
        self._hold: Hold | None = None
        self._is_log_kept = False
        """Whether a program that looks at an old state of the record keeps its log from being emptied."""
        self._reason = ""
        self._is_full = False
        self._missed = 0
        """Blocks that there was no room for since the disk last took something."""
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    @classmethod
    def open(cls, file: Path | None = None) -> Journal:
        """The journal of this machine, or the one in *file*."""
        return cls(file or schema.usual_file())

    # --- the measuring thread -----------------------------------------------------------------

    @property
    def fault(self) -> str:
        """Why nothing is being written, as a sentence for the screen; empty while writing works."""
        if not self._reason:
            return ""
        missed = f" {self._missed * BLOCK_S:.0f} s are missing from it." if self._missed else ""
        return f"The record has stopped: {self._reason}. The measurement continues.{missed}"

    def begin(self, about: Pass) -> OpenPass:
        """Begins a new pass. It is recorded from its first block on."""
        return OpenPass(self._put, about, self._clock)

    def resume(self, record: Record) -> OpenPass:
        """Resumes a recorded pass after a cut: the block in progress at its end is lost."""
        continued = OpenPass(self._put, record.summary.about, self._clock, record.summary.blocks)
        summary = record.summary
        self._put(continued, Resumed(summary.id, summary.blocks, summary.holder))
        continued.add_cut()
        return continued

    def id_of(self, owner: OpenPass) -> int | None:
        """Returns the number on record of a pass; None while none of it was written."""
        return self._ids.get(owner)

    def close(self, wait_s: float = 5.0) -> None:
        """Writes the rest. Gives up after *wait_s*, and when writing fails; see :attr:`fault`."""
        self._closing.set()
        self._thread.join(wait_s)
        if self._thread.is_alive() and not self._reason:
            self._reason = "the disk does not answer"

    def _put(self, owner: OpenPass, entry: Entry) -> None:
        pair = owner, entry
        if not self._has_room(is_block=isinstance(entry, MeasuredBlocks)):
            self._missed += len(entry.energy) if isinstance(entry, MeasuredBlocks) else 0
            return
        self._given_bytes += _size(pair)
        self._given.append(pair)

    def _has_room(self, *, is_block: bool) -> bool:
        """True while an entry may be queued. Blocks leave room for the small entries that explain them; once
        full, they are dropped until half is free, so that one fault makes one gap and not hundreds."""
        waiting = self._given_bytes - self._gathered_bytes + self._pending_bytes
        if not is_block:
            return waiting < 2 * self._room_bytes
        self._is_full = waiting > self._room_bytes / (2 if self._is_full else 1)
        return not self._is_full

    # --- the writer's thread ------------------------------------------------------------------

    def _run(self) -> None:
        try:
            while not self._closing.wait(self._period_s * (_RARELY if self._is_log_kept else 1)):
                self._flush()
            self._flush()
        except Exception:
            log.exception("the writer of the journal has failed")
            self._reason = "an internal error (see the log)"
        finally:
            self._disconnect()
            self._release()

    def _flush(self) -> None:
        self._gather()
        try:
            self._write()
        except (RecordError, *DATABASE_ERRORS, OSError) as error:
            self._disconnect()
            said = reason(error, self._file)
            if said != self._reason:
                log.warning("the journal cannot be written: %s", type(error).__name__)
            self._reason = said
            return
        if self._reason:
            log.warning("the journal continues; %d blocks are missing", self._missed)
        self._reason, self._missed = "", 0

    def _gather(self) -> None:
        """Moves the queued entries to the pending ones, merged so that they can be kept for long."""
        given = [self._given.popleft() for _ in range(len(self._given))]
        fresh = [
            (owner, entry)
            for owner, group in groupby(given, key=lambda pair: pair[0])
            for entry in merged(entry for _, entry in group)
        ]
        self._gathered_bytes += sum(map(_size, given))
        self._pending_bytes += sum(map(_size, fresh))
        self._pending += fresh

    def _write(self) -> None:
        connection = self._connected()
        while self._pending:
            self._empty_log(connection)
            chunk = self._pending[:_CHUNK]
            ids = dict(self._ids)
            with connection:
                connection.execute("BEGIN IMMEDIATE")
                for owner, entry in chunk:
                    ids[owner] = self._id(connection, owner, entry, ids.get(owner))
                    rows.write(connection, ids[owner], entry)
            self._ids = ids
            del self._pending[: len(chunk)]
            self._pending_bytes -= sum(map(_size, chunk))

    def _empty_log(self, connection: sqlite3.Connection) -> None:
        """Brings a long log into the file. Raises RecordError where it has become too long and cannot be
        emptied: a program that looks at an old state of the record, and goes on looking, needs all of it."""
        log_bytes = _size_of(schema.log_of(self._file))
        if log_bytes < _LONG_LOG_BYTES:
            self._is_log_kept = False
            return
        (is_busy, _, _) = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        if is_busy and not self._is_log_kept:
            log.warning(
                "the log of the record cannot be emptied: another program looks at an old state of it"
            )
        self._is_log_kept = bool(is_busy)
        if is_busy and log_bytes >= _LONGEST_LOG_BYTES and not self._closing.is_set():
            raise RecordError(f"another program has kept {self._file} open in an old state for long; end it")

    def _id(self, connection: sqlite3.Connection, owner: OpenPass, entry: Entry, known: int | None) -> int:
        """The pass's row. A new one where there is none, or it was deleted, taken over, or has grown."""
        if isinstance(entry, Resumed) and rows.take_over(connection, entry, self._holder):
            return entry.id
        if known is not None and rows.is_held(connection, known, self._holder):
            return known
        return rows.begin(connection, owner.about, owner.began, self._holder)

    def _connected(self) -> sqlite3.Connection:
        if self._connection is not None and not self._file.exists():
            self._disconnect()  # it was removed: what is written to it now can never be found
            self._release()
        if self._connection is None:
            self._connection = schema.connect(self._file, patience_s=_PATIENCE_S)
        if self._hold is None:
            self._hold = Hold(self._file, self._holder)
        return self._connection

    def _release(self) -> None:
        if self._hold is not None:
            self._hold.release()
            self._hold = None

    def _disconnect(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None


def _size_of(file: Path) -> int:
    try:
        return file.stat().st_size
    except OSError:
        return 0


def _size(pair: tuple[OpenPass, Entry]) -> int:
    entry = pair[1]
    return _ENTRY_BYTES + (entry.nbytes if isinstance(entry, MeasuredBlocks | Batch) else 0)
