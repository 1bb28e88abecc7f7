"""The measuring thread's side of the journal: one pass in progress."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from sidecar.journal.entries import Aimed, Ended, Entry, MeasuredBlocks
from sidecar.journal.record import Cut, DialogueBlocks, FaderReport, Floats, Pass, StemBalance
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Event
from sidecar.settings.goals import Goal


class OpenPass:
    """Queues the entries of one pass in progress. Its calls return at once and never raise."""

    def __init__(
        self,
        put: Callable[[OpenPass, Entry], None],
        about: Pass,
        clock: Callable[[], datetime],
        blocks: int = 0,
    ) -> None:
        self.about = about
        """With the goal in force, for a new row should the pass need one."""
        self.began = clock().isoformat()
        self._put = put
        self._clock = clock
        self._next = blocks
        self._reports: dict[str, FaderReport] = {}
        """The last report on each fader."""

    def add_blocks(
        self,
        energy: Floats,
        true_peak: Floats,
        short_term: Floats,
        fader_db: float,
        reading: Reading,
        stems: StemBalance | None = None,
        dialogue: DialogueBlocks | None = None,
    ) -> None:
        """Adds 100 ms blocks as metered, arrays of shape (n,), which must not be changed afterwards.

        true_peak: dBTP, of all channels. short_term: LUFS, at the end of each. fader_db: position of the
        master fader. reading: after the last block.
        stems: the same blocks of each stem, in every call of a pass that has stems and in no other.
        dialogue: where it is measured.
        """
        blocks = MeasuredBlocks(self._next, energy, true_peak, short_term, fader_db, reading, stems, dialogue)
        self._next = blocks.next_block
        self._put(self, blocks)

    def add_cut(self, dropped_samples: int = 0) -> None:
        """Adds a cut: *dropped_samples* are missing before the next block."""
        self._put(self, Cut(self._next, dropped_samples))

    def event(self, event: Event) -> None:
        """Adds an event of the timeline: a marker, an alert, a move."""
        self._put(self, event)

    def add_fader_report(self, report: FaderReport) -> None:
        """Adds a report on a fader. Repeats of one position, sent many times a second, are kept once."""
        last = self._reports.get(report.stem)
        if last is not None and report.is_position and replace(last, at_s=report.at_s) == report:
            return
        self._reports[report.stem] = report
        self._put(self, report)

    def set_goal(self, goal: Goal) -> None:
        """Records that *goal* is in force from here on."""
        self.about = replace(self.about, goal=goal)
        self._put(self, Aimed(goal))

    def close_pass(self, reading: Reading | None = None, dialogue: DialogueLoudness | None = None) -> None:
        """Ends the pass; *reading* is its last one, and *dialogue*."""
        self._put(self, Ended(self._clock().isoformat(), reading, dialogue))
