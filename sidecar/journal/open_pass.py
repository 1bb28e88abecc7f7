"""The worker's side of the journal: one pass that is being heard."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from sidecar.journal.entries import Aimed, Ended, Entry, Heard
from sidecar.journal.record import Cut, FaderReport, Floats, Pass, StemBalance
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Event
from sidecar.settings.goals import Goal


class OpenPass:
    """A pass that is being heard. Its calls return at once and never raise."""

    def __init__(
        self,
        put: Callable[[OpenPass, Entry], None],
        about: Pass,
        clock: Callable[[], datetime],
        blocks: int = 0,
    ) -> None:
        self.about = about
        """With the goal in force: what a row says, should the pass ever need another one."""
        self.began = clock().isoformat()
        self._put = put
        self._clock = clock
        self._next = blocks
        self._told: dict[str, FaderReport] = {}
        """The last word on each fader."""

    def add_blocks(
        self,
        energy: Floats,
        true_peak: Floats,
        short_term: Floats,
        fader_db: float,
        reading: Reading,
        stems: StemBalance | None = None,
    ) -> None:
        """100 ms blocks as metered, arrays of shape (n,), which nobody may change afterwards.

        true_peak: dBTP, of all channels. short_term: LUFS, at the end of each. fader_db: where the
        programme fader stands. reading: behind the last one.
        stems: the same blocks of each stem, in every call of a pass that has stems and in no other.
        """
        heard = Heard(self._next, energy, true_peak, short_term, fader_db, reading, stems)
        self._next = heard.next_block
        self._put(self, heard)

    def add_cut(self, lost_frames: int = 0) -> None:
        """The next block does not follow the last one; so many frames were lost in between."""
        self._put(self, Cut(self._next, lost_frames))

    def event(self, event: Event) -> None:
        """A mark, an alert, a move: what the course shows."""
        self._put(self, event)

    def add_fader_report(self, told: FaderReport) -> None:
        """Something was said of a fader. One that rests may say so many times a second: it is kept once."""
        last = self._told.get(told.stem)
        if last is not None and told.is_position and replace(last, at_s=told.at_s) == told:
            return
        self._told[told.stem] = told
        self._put(self, told)

    def set_goal(self, goal: Goal) -> None:
        """Another goal is in force."""
        self.about = replace(self.about, goal=goal)
        self._put(self, Aimed(goal))

    def close_pass(self, reading: Reading | None = None) -> None:
        """The pass is over; *reading* is its last word."""
        self._put(self, Ended(self._clock().isoformat(), reading))
