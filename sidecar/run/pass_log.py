"""The log of a pass: its timeline for the screen, and the journal's record, from which a run can resume."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import numpy as np

from sidecar.errors import SettingsError
from sidecar.journal.record import DialogueBlocks, FaderReport, Pass, StemBalance
from sidecar.journal.resume import Resumable, resumable
from sidecar.loudness.series import Floats
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.foreign_text import printable
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Event, EventKind, Timeline
from sidecar.run.timeline import MOST_EVENTS, TimelineLog
from sidecar.settings.goals import Goal

if TYPE_CHECKING:
    from sidecar.journal.open_pass import OpenPass
    from sidecar.journal.record import Record
    from sidecar.journal.writer import Journal
    from sidecar.run.metering import Taken

log = logging.getLogger(__name__)


class PassLog:
    """Logs the pass that is being measured. Its calls return at once and do not raise unless stated; without
    a journal only the timeline is kept."""

    def __init__(self, journal: Journal | None, resumed: Record | None = None) -> None:
        """resumed: the recorded pass that the run continues."""
        self._journal = journal
        self._resumed = resumed
        self._pass: OpenPass | None = None
        self._log = TimelineLog()

    @property
    def seconds(self) -> float:
        """Seconds of programme measured."""
        return self._log.seconds

    def timeline(self) -> Timeline:
        """Returns the pass so far; may be called from any thread."""
        return self._log.view()

    def events(self) -> tuple[Event, ...]:
        """Returns what has happened in the pass so far; may be called from any thread."""
        return self._log.events

    @property
    def fault(self) -> str:
        """Why nothing is being written, as a sentence for the screen; empty while writing works."""
        return self._journal.fault if self._journal else ""

    @property
    def pass_id(self) -> int | None:
        """The number on record of the pass; None where none of it was written."""
        return self._journal.id_of(self._pass) if self._journal and self._pass else None

    def begin_pass(self, about: Pass) -> Resumable | None:
        """Begins the first pass of the run; returns the state it continues from, None for a new pass.

        Raises SettingsError where the source does not have the rate, layout and stems of the recorded pass.
        """
        if self._resumed is None:
            self._pass = self._journal.begin(about) if self._journal else None
            return None
        before = self._resumed.summary.about
        if (before.rate_hz, before.layout, before.stems) != (about.rate_hz, about.layout, about.stems):
            raise SettingsError(
                f"Pass {self._resumed.summary.id} cannot be continued: it was {_form(before)}, and "
                f"{about.source} is {_form(about)}. Give the same input, or start without --resume."
            )
        self._pass = self._journal.resume(self._resumed) if self._journal else None
        self.record_goal(about.goal)
        found = resumable(self._resumed)
        self._log.restore(found.history)
        return found

    def begin_next_pass(
        self,
        about: Pass,
        reading: Reading,
        reports: Iterable[FaderReport],
        dialogue: DialogueLoudness | None = None,
    ) -> None:
        """Ends the pass so far with *reading* and *dialogue*, and begins a new one. reports: fader positions
        still known."""
        self.end_pass(reading, dialogue)
        self._log = TimelineLog()
        self._pass = self._journal.begin(about) if self._journal else None
        for report in reports:
            self.record_fader_report(report)

    def record_blocks(
        self,
        taken: Taken,
        reading: Reading,
        fader_db: float,
        stem_gains_db: Floats | None,
        dialogue: DialogueBlocks | None = None,
    ) -> None:
        """Records 100 ms blocks, the reading after them, the master fader and the stem faders, dB, and the
        dialogue."""
        count = taken.mix.energy.size
        self._log.add_columns(count, reading.short_term, reading.integrated, fader_db)
        if self._pass is None:
            return
        stems = None
        if taken.stems is not None and stem_gains_db is not None:
            faders_db = np.tile(stem_gains_db, (count, 1))
            stems = StemBalance(taken.stems.covariance, taken.stems.true_peak, faders_db)
        mix = taken.mix
        self._pass.add_blocks(mix.energy, mix.true_peak, mix.short_term, fader_db, reading, stems, dialogue)

    def record_cut(self, lost_s: float = 0.0) -> None:
        """Records that the next block does not follow the last one; *lost_s* seconds are missing."""
        if self._pass:
            # a device may have come back at another rate than the pass began with
            self._pass.add_cut(round(lost_s * self._pass.about.rate_hz))

    def record_event(self, kind: EventKind, text: str) -> None:
        """Records an event at the present end of the pass."""
        event = Event(self._log.seconds, kind, printable(text))
        self._log.add_event(event)
        if kind == "gap":
            log.warning("gap at %.1f s: %s", event.seconds, text)
        if self._pass:
            self._pass.event(event)

    def record_mark(self, label: str, *, kind: EventKind = "marker") -> None:
        """Records a mark at the present end of the pass. Raises SettingsError above the limit of events."""
        if self._log.is_full:
            raise SettingsError(
                f"The pass holds {MOST_EVENTS:,} events, the most there may be. Reset starts a new pass."
            )
        self.record_event(kind, label)

    def record_fader_report(self, report: FaderReport) -> None:
        """Records a position or a move that was reported of a fader."""
        if self._pass:
            self._pass.add_fader_report(report)

    def record_goal(self, goal: Goal) -> None:
        """Records that *goal* is in force from here on."""
        if self._pass:
            self._pass.set_goal(goal)

    def end_pass(self, reading: Reading, dialogue: DialogueLoudness | None = None) -> None:
        """Closes the pass with *reading* and *dialogue*."""
        if self._pass:
            self._pass.close_pass(reading, dialogue)


Tell = Callable[[FaderReport], None]
"""Records a fader report."""


def _form(about: Pass) -> str:
    stems = f" in the stems {', '.join(about.stems)}" if about.stems else ""
    return f"{about.rate_hz} Hz, {about.layout}{stems}"
