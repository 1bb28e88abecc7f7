"""The advice of a run: how often it is computed, and the latest results."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from sidecar.advice.programme.advisor import Earlier, ProgrammeAdvisor
from sidecar.advice.programme.outlook import STRAY_DB, Outlook
from sidecar.advice.programme.steady import SteadyAdviser
from sidecar.journal.record import FaderReport
from sidecar.loudness.series import Floats
from sidecar.model.advice import Advice
from sidecar.model.readings import SILENCE, Move, Ride
from sidecar.model.snapshot import EarlierPass, Opening, Stem
from sidecar.run.pass_comparison import PassComparison
from sidecar.run.stem_faders import StemFaders
from sidecar.settings.goals import Goal
from sidecar.sources import Block

if TYPE_CHECKING:
    from sidecar.journal.resume import Resumable
    from sidecar.run.metering import Taken

_ADVISE_S = 1.0
_ADVISE_SHARE = 1.0 / 600.0
"""Seconds added to the period for each second measured: a longer pass takes longer to compute and changes
less. After an hour advice is computed every 7 s, so that an update costs the same on average all day
(tests/benchmarks/day_long.py)."""
_TREND_S = 5.0
"""Programme between two forecasts where no look is due."""
_RIDES_S = 30.0
_LONGEST_FOR_RIDES_S = 3600.0
"""A longer pass is searched for rides only while paused or over: the search is slow."""
_LONGEST_AT_REST_S = 4 * 3600.0
"""A pass longer than this is never searched: after a day the search would take minutes and ten times the
memory of the day itself."""
_TOO_LONG = "No rides for more than 4 h. Play the part to ride as a pass of its own."
_WORTH_KEEPING_S = 60.0
"""A pass this long can serve as the forecast of the next one."""


class AdviceSchedule:
    """Feeds metered blocks to the advisors, computes advice when it is due, and keeps the latest results."""

    def __init__(
        self,
        goal: Goal,
        duration_s: float | None,
        earlier: Earlier | None,
        stems: StemFaders | None = None,
        *,
        stray_db: float = STRAY_DB,
        beside: bool = True,
    ) -> None:
        """duration_s: length of the pass; that of *earlier* where it is not known. stray_db: how far the
        fader may stray from the gain of a whole pass. beside: False compares even a long earlier pass in the
        caller's thread, where nothing plays that could be missed."""
        self._comparison = PassComparison(beside=beside)
        self._goal = goal
        self._stray_db = stray_db
        self._duration_s = duration_s
        self.stem_faders = stems
        self._begin(earlier)

    def _begin(self, earlier: Earlier | None) -> None:
        self.advisor = ProgrammeAdvisor(
            self._goal, duration_s=self._duration_s, earlier=earlier, compare=self._comparison
        )
        self._steady = SteadyAdviser(self._goal)
        self.advice = self._steady.advice
        self._outlook: Outlook | None = None
        self._is_at_rest = False
        self.earlier_pass: EarlierPass | None = None
        self.rides: tuple[Ride, ...] = ()
        self.rides_reason = ""
        self._due_s = self._rides_due_s = self._searched_s = SILENCE
        self._asked_at_db = self._forecast_at_s = self._forecast_peak_db = SILENCE

    @property
    def stems(self) -> tuple[Stem, ...]:
        """Every stem with its latest move; empty where only the mix is measured."""
        return self.stem_faders.stems() if self.stem_faders else ()

    @property
    def stem_gains_db(self) -> Floats | None:
        """Stem fader gains in the latest blocks, dB, shape (stems,); None where only the mix is measured."""
        return self.stem_faders.gains_db if self.stem_faders else None

    @property
    def stem_reports(self) -> tuple[FaderReport, ...]:
        """The reported positions of the stem faders."""
        return self.stem_faders.reports if self.stem_faders else ()

    @property
    def build_up(self) -> tuple[Opening, ...]:
        """A rough balance from silence, fader after fader."""
        return self.stem_faders.build_up if self.stem_faders else ()

    @property
    def move(self) -> Move:
        """The move of the master fader that is advised now."""
        return self.advice.move

    @property
    def is_over(self) -> bool:
        """True once the pass has come to its end, where that is known."""
        duration_s = self.advisor.duration_s
        return duration_s is not None and self.advisor.seconds >= duration_s

    @property
    def gain_left_db(self) -> float:
        """What remains of that move, dB: the fader may have moved since the advice was computed. Of a pass
        that is over, what remains of the move for the next one."""
        move = self.advice.from_top if self.is_over else self.move
        gain_db, gone_db = move.gain_db, self.advisor.fader_db - self._asked_at_db
        if not math.isfinite(gone_db):
            return gain_db
        return min(max(gain_db - gone_db, min(gain_db, 0.0)), max(gain_db, 0.0))

    def push_blocks(self, taken: Taken, block: Block) -> None:
        """Adds what was metered of *block*, which carries the fader gains that the source itself knows."""
        mix = taken.mix
        if self.stem_faders and taken.stems:
            self.stem_faders.push_blocks(taken.stems, mix.true_peak, block)
        self.advisor.push_blocks(mix.energy, mix.true_peak, block.gain_db)

    def restore(self, before: Resumable) -> None:
        """Restores an interrupted pass."""
        self.advisor.restore(before.energies, before.true_peak, before.cuts, before.fader)
        if self.stem_faders and before.stems:
            self.stem_faders.restore(before.stems, before.true_peak, before.cuts, before.reported_stems)

    def splice(self) -> None:
        """The next block does not follow the last one."""
        self.advisor.splice()
        if self.stem_faders:
            self.stem_faders.splice()

    def expect_length(self, duration_s: float) -> None:
        """Takes the pass to be *duration_s* long, and those after it; the measured blocks are kept."""
        self._duration_s = duration_s
        self.advisor.expect_length(duration_s)
        self._steady.look_soon()
        self.ask_soon()

    def use_earlier_pass(self, earlier: Earlier | None) -> None:
        """Uses *earlier* as the forecast; None for no forecast."""
        self.advisor.use_earlier_pass(earlier)
        self._steady.look_soon()
        self.earlier_pass = None
        self.ask_soon()

    def use_goal(self, goal: Goal) -> None:
        """Advises for *goal* from now on; the measured blocks are kept."""
        self._goal = self.advisor.goal = self._steady.goal = goal
        self._steady.look_soon()
        self.rides, self.rides_reason = (), ""
        self._rides_due_s = self._searched_s = SILENCE
        if self.stem_faders:
            self.stem_faders.use_goal(goal)
        self.ask_soon()

    def begin_next_pass(self, title: str) -> None:
        """Begins a new pass with the one before as its forecast."""
        self._begin(self.last_pass(title))
        if self.stem_faders:
            self.stem_faders.begin_next_pass()

    def last_pass(self, title: str) -> Earlier | None:
        """Returns the forecast for a later pass: this pass, or the one before while this one is too short."""
        if self.advisor.seconds < _WORTH_KEEPING_S:
            return self.advisor.earlier
        return Earlier(title, self.advisor.material())

    def ask_soon(self) -> None:
        """Makes the next update compute advice, due or not."""
        self._due_s = SILENCE

    def update_advice(self, now_s: float, *, at_rest: bool) -> None:
        """Computes advice where it is due. at_rest: nothing is playing, so a slow search delays nothing."""
        stems = self.stem_faders
        change_lu = stems.settle(now_s) if stems else None
        if stems and change_lu is not None:
            self.advisor.use_trims(stems.trims_db())
            self._steady.mix_moved_by(change_lu)
            self.ask_soon()
        self._renew_advice(now_s, at_rest=at_rest)
        if self.is_over:
            self._count_down()
        if stems:
            land = self._outlook.at if self._outlook else None
            stems.update_moves(now_s, self.advice, at_once=change_lu is not None, land=land)

    def _count_down(self) -> None:
        """Takes what the fader has gone since off the move for the next pass: it is a place to go to, which
        must not go along with the fader."""
        next_pass, gone_db = self.advice.from_top, self.advisor.fader_db - self._asked_at_db
        if gone_db == 0.0 or not math.isfinite(gone_db):
            return
        self._asked_at_db = self.advisor.fader_db
        move = replace(next_pass, gain_db=round(next_pass.gain_db - gone_db, 1))
        self.advice = replace(self.advice, from_top=move)

    def _renew_advice(self, now_s: float, *, at_rest: bool) -> None:
        if now_s < self._due_s:
            return
        advisor, is_asked = self.advisor, self._due_s == SILENCE
        is_needed = self._has_come_to_rest(at_rest=at_rest) or is_asked or self._needs_forecast()
        if is_needed and not self._is_compared():
            return  # and asks again at the next update
        self._due_s = now_s + _ADVISE_S + advisor.seconds * _ADVISE_SHARE
        if not is_needed:
            return
        self._forecast_at_s, self._forecast_peak_db = advisor.seconds, advisor.peak_dbtp
        self._asked_at_db = advisor.fader_db
        outlook = self._outlook = advisor.outlook(self._stray_db, at_rest=self._is_at_rest)
        if self.is_over:
            self.end_pass()
        else:
            self.advice = self._steadied(outlook)
        if advisor.earlier is not None:
            self.earlier_pass = EarlierPass(advisor.earlier.title, *advisor.fit())
        self._seek_rides(now_s, at_rest=at_rest)

    def _has_come_to_rest(self, *, at_rest: bool) -> bool:
        """Whether a pass of unknown length has just stopped: what is shown then is of what was measured."""
        was_at_rest = self._is_at_rest
        self._is_at_rest = self.advisor.duration_s is None and (at_rest or self.advisor.is_silent)
        has_stopped = self._is_at_rest and not was_at_rest
        if has_stopped:
            self._steady.look_soon()
        return has_stopped

    def _is_compared(self) -> bool:
        earlier = self.advisor.earlier
        return earlier is None or self._comparison.is_ready(earlier.energies, lambda: self.advisor.heard)

    def _needs_forecast(self) -> bool:
        """Whether a look is due, the fader was moved, or the arrow and the peaks are to be looked at."""
        advisor = self.advisor
        return (
            self._steady.is_due(advisor.seconds, advisor.fader_db)
            or advisor.seconds >= self._forecast_at_s + _TREND_S
            or advisor.peak_dbtp > max(self._forecast_peak_db, self._goal.ceiling_dbtp)
            or self.is_over
        )

    def _steadied(self, outlook: Outlook | None) -> Advice:
        advisor, before = self.advisor, self.advice
        advice = self._steady.update(
            advisor.seconds, advisor.fader_db, outlook, advisor.rest_s, advisor.look_again_s
        )
        if advice.next_look_at_s == before.next_look_at_s or advisor.seconds > _LONGEST_AT_REST_S:
            return advice
        return replace(advice, range_widened_lu=advisor.range_widened_lu())

    def end_pass(self) -> None:
        """Replaces the advice on a pass by that on the next one."""
        landing = self.advisor.landing
        self.advice = Advice(
            "ended",
            Move(0.0, landing, landing, landing, reason="The pass has ended."),
            from_top=self.advisor.next_pass(),
            range_widened_lu=self.advice.range_widened_lu,
        )
        if self.stem_faders:
            self.stem_faders.end_pass(self.advice)

    def _seek_rides(self, now_s: float, *, at_rest: bool) -> None:
        measured_s = self.advisor.seconds
        if measured_s > _LONGEST_AT_REST_S:
            self.rides, self.rides_reason = (), _TOO_LONG
            return
        is_due = at_rest or (now_s >= self._rides_due_s and measured_s <= _LONGEST_FOR_RIDES_S)
        if is_due and self._searched_s != measured_s:
            self._rides_due_s, self._searched_s = now_s + _RIDES_S, measured_s
            plan = self.advisor.rides()
            self.rides, self.rides_reason = plan.rides, plan.reason
