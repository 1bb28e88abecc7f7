"""The advice of a run: which counsel is asked, how often, and what it said last."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sidecar.advice.counsel import Counsel, Earlier
from sidecar.feed import EarlierPass
from sidecar.goals import Goal
from sidecar.vocabulary import SILENCE, Move, Ride

if TYPE_CHECKING:
    from sidecar.meter import Blocks

_ADVISE_S = 1.0
_RIDES_S = 30.0
_LONGEST_FOR_RIDES_S = 3600.0
"""A longer course is searched for rides only when it is paused or over: the search takes its time."""
_WORTH_KEEPING_S = 60.0
"""A pass this long can serve as the forecast of the next one."""


class Adviser:
    """Hears what is metered, asks for advice when it is due, and keeps the answers for the screen."""

    def __init__(self, goal: Goal, duration_s: float | None, earlier: Earlier | None) -> None:
        """duration_s: length of the pass; that of *earlier* where it is not known."""
        self._goal = goal
        self._duration_s = duration_s
        self._begin(earlier)

    def _begin(self, earlier: Earlier | None) -> None:
        self.counsel = Counsel(self._goal, duration_s=self._duration_s, earlier=earlier)
        self.next_pass = Move(reason="Listening.")
        self.this_pass: Move | None = None
        self.earlier_pass: EarlierPass | None = None
        self.rides: tuple[Ride, ...] = ()
        self.rides_reason = ""
        self._due_s = self._rides_due_s = SILENCE

    @property
    def guess(self) -> str:
        return self.counsel.guess.sentence if self.counsel.guess else ""

    def take(self, blocks: Blocks, gain_db: float | None) -> None:
        """Takes in what the meter gave; *gain_db* where the source itself knows its fader."""
        self.counsel.take(blocks.energy, blocks.true_peak, blocks.energy[:, None], gain_db)

    def splice(self) -> None:
        """The next block does not follow the last one."""
        self.counsel.splice()

    def use(self, goal: Goal) -> None:
        """Another goal; what was heard stays."""
        self._goal = self.counsel.goal = goal
        self.ask_soon()

    def begin_anew(self, title: str) -> None:
        """A new pass; the one before becomes its forecast."""
        self._begin(self.last_pass(title))

    def last_pass(self, title: str) -> Earlier | None:
        """What a later pass can take as its forecast: this one, or the one before while it is too short."""
        if self.counsel.seconds < _WORTH_KEEPING_S:
            return self.counsel.earlier
        return Earlier(title, self.counsel.material())

    def ask_soon(self) -> None:
        """Something has changed: the next look asks for advice."""
        self._due_s = SILENCE

    def look(self, now_s: float, *, at_rest: bool) -> None:
        """Asks for advice where it is due. at_rest: nothing plays, so that a long search harms nobody."""
        if now_s < self._due_s:
            return
        self._due_s = now_s + _ADVISE_S
        counsel = self.counsel
        self.next_pass, self.this_pass = counsel.next_pass(), counsel.this_pass()
        if counsel.earlier is not None:
            self.earlier_pass = EarlierPass(counsel.earlier.title, *counsel.fit())
        if at_rest or (now_s >= self._rides_due_s and counsel.seconds <= _LONGEST_FOR_RIDES_S):
            self._rides_due_s = now_s + _RIDES_S
            plan = counsel.rides()
            self.rides, self.rides_reason = plan.rides, plan.reason
