"""The passes on record before the one that plays, read beside the measuring."""

from __future__ import annotations

import logging
import threading
from datetime import UTC, datetime

from sidecar.errors import RecordError
from sidecar.journal import reader
from sidecar.journal.record import Damaged, Summary
from sidecar.model.foreign_text import printable
from sidecar.model.snapshot import PastPass

log = logging.getLogger(__name__)

MOST = 20
"""Passes that are kept in sight; 'sidecar passes' lists all."""
_WRITTEN_AFTER_S = 2.0
"""After a reset the record of the pass before is complete (the journal writes once a second)."""


class PastPasses:
    """The latest passes on record. Its calls return at once and do not raise."""

    def __init__(self, *, is_recorded: bool, beside: bool = True) -> None:
        """is_recorded: False lists none, where the run keeps no record. beside: False reads in the caller's
        thread, where nothing plays that could be missed."""
        self._is_recorded = is_recorded
        self._beside = beside
        self._due_s: float | None = None
        self._before = datetime.now(UTC)
        self._thread: threading.Thread | None = None
        self.latest: tuple[PastPass, ...] = ()
        """The last one first."""

    def begin_pass(self, now_s: float, *, is_first: bool) -> None:
        """A pass begins at *now_s* on the run's clock; the first time, those before it are read at once."""
        self._before = datetime.now(UTC)
        self._due_s = now_s if is_first else now_s + _WRITTEN_AFTER_S

    def update(self, now_s: float) -> None:
        """Reads the record when that is due."""
        if not self._is_recorded or self._due_s is None or now_s < self._due_s:
            return
        if self._thread is not None and self._thread.is_alive():
            return
        self._due_s = None
        if not self._beside:
            self._read(self._before)
            return
        self._thread = threading.Thread(
            target=self._read, args=(self._before,), name="past passes", daemon=True
        )
        try:
            self._thread.start()
        except RuntimeError:  # no thread can be had; the list is worth less than the measurement
            self._thread = None

    def _read(self, before: datetime) -> None:
        try:
            found = reader.passes(last=MOST + 1)
        except RecordError as error:
            log.warning("The list of passes cannot be read: %s", error)
            return
        past = [one for one in reversed(found) if not isinstance(one, Damaged) and one.began < before]
        self.latest = tuple(map(_past_pass, past[:MOST]))


def _past_pass(summary: Summary) -> PastPass:
    about, reading = summary.about, summary.reading
    return PastPass(
        summary.id,
        f"{summary.began.astimezone():%Y-%m-%d %H:%M}",
        printable(about.source),
        printable(about.goal.name),
        reading.seconds,
        reading.integrated,
        reading.loudness_range,
        reading.max_true_peak,
    )
