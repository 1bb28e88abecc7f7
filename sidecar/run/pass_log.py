"""What happened in a run: the course for the screen, and the same on record, from which a run can go on."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import numpy as np

from sidecar.errors import SettingsError
from sidecar.journal.record import FaderReport, Pass, StemBalance
from sidecar.journal.resume import Resumable, resumable
from sidecar.loudness.series import Floats
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
    """The pass that is being heard. Its calls return at once and never raise; without a journal it only
    keeps the course."""

    def __init__(self, journal: Journal | None, resumed: Record | None = None) -> None:
        """resumed: the pass on record that the run goes on with."""
        self._journal = journal
        self._resumed = resumed
        self._pass: OpenPass | None = None
        self._log = TimelineLog()

    @property
    def seconds(self) -> float:
        """Programme heard."""
        return self._log.seconds

    def timeline(self) -> Timeline:
        """The pass so far; may be asked for from any thread."""
        return self._log.view()

    @property
    def fault(self) -> str:
        """Why nothing is being written, in a sentence to show; empty while all is well."""
        return self._journal.fault if self._journal else ""

    def begin_pass(self, about: Pass) -> Resumable | None:
        """The first pass of the run: what it goes on with, None where it begins anew.

        Raises SettingsError where what plays cannot go on with what is on record.
        """
        if self._resumed is None:
            self._pass = self._journal.begin(about) if self._journal else None
            return None
        before = self._resumed.summary.about
        if (before.rate_hz, before.layout, before.stems) != (about.rate_hz, about.layout, about.stems):
            raise SettingsError(
                f"Pass {self._resumed.summary.id} cannot be gone on with: it was {_form(before)}, and "
                f"{about.source} is {_form(about)}. Give the same input, or begin anew without --resume."
            )
        self._pass = self._journal.resume(self._resumed) if self._journal else None
        self.record_goal(about.goal)
        found = resumable(self._resumed)
        self._log.restore(found.course)
        return found

    def begin_next_pass(self, about: Pass, reading: Reading, told: Iterable[FaderReport]) -> None:
        """The person reset: the pass so far ends with *reading*. told: what is still known of faders."""
        self.end_pass(reading)
        self._log = TimelineLog()
        self._pass = self._journal.begin(about) if self._journal else None
        for word in told:
            self.record_fader_report(word)

    def record_blocks(
        self, taken: Taken, reading: Reading, fader_db: float, stem_gains_db: Floats | None
    ) -> None:
        """100 ms blocks, the reading behind them, the programme fader and those of the stems."""
        count = taken.mix.energy.size
        self._log.add_columns(count, reading.short_term, reading.integrated, fader_db)
        if self._pass is None:
            return
        stems = None
        if taken.stems is not None and stem_gains_db is not None:
            faders_db = np.tile(stem_gains_db, (count, 1))
            stems = StemBalance(taken.stems.covariance, taken.stems.true_peak, faders_db)
        mix = taken.mix
        self._pass.add_blocks(mix.energy, mix.true_peak, mix.short_term, fader_db, reading, stems)

    def record_cut(self, lost_s: float = 0.0) -> None:
        """The next block does not follow the last one."""
        if self._pass:
            # a device may have come back at another rate than the pass began with
            self._pass.add_cut(round(lost_s * self._pass.about.rate_hz))

    def record_event(self, kind: EventKind, text: str) -> None:
        """Something happened here."""
        event = Event(self._log.seconds, kind, printable(text))
        self._log.add_event(event)
        if kind == "gap":
            log.warning("gap at %.1f s: %s", event.seconds, text)
        if self._pass:
            self._pass.event(event)

    def record_mark(self, label: str) -> None:
        """A person or a script marks this place. Raises SettingsError where the pass has too many events."""
        if self._log.is_full:
            raise SettingsError(
                f"The pass holds {MOST_EVENTS:,} events, and takes no more marks: reset begins anew."
            )
        self.record_event("mark", label)

    def record_fader_report(self, told: FaderReport) -> None:
        """Something was said of a fader."""
        if self._pass:
            self._pass.add_fader_report(told)

    def record_goal(self, goal: Goal) -> None:
        """Another goal is in force."""
        if self._pass:
            self._pass.set_goal(goal)

    def end_pass(self, reading: Reading) -> None:
        """The pass is over."""
        if self._pass:
            self._pass.close_pass(reading)


Tell = Callable[[FaderReport], None]
"""Takes what is said of a fader, for the record."""


def _form(about: Pass) -> str:
    stems = f" in the stems {', '.join(about.stems)}" if about.stems else ""
    return f"{about.rate_hz} Hz, {about.layout}{stems}"
