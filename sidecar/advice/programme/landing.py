"""The master fader: how many dB, and where the programme lands."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from sidecar.advice.programme.bootstrap import spread_lu
from sidecar.advice.programme.earlier_pass import (
    NOT_COMPARED,
    Compare,
    Comparison,
    EarlierFit,
    Heard,
    compare,
)
from sidecar.advice.programme.forecast import MOVES_DB, UnheardRest, unheard_rest
from sidecar.advice.programme.headroom import under_ceiling
from sidecar.advice.programme.history import ENOUGH_S, History
from sidecar.advice.programme.outlook import STRAY_DB, Bound, Outlook, bound, doubt_of
from sidecar.advice.programme.reasons import out_of_reach, this_pass_heads, whole_pass_heads
from sidecar.advice.programme.steering import (
    STEP_DOWN_DB,
    STEP_UP_DB,
    Prospect,
    likely_move,
    look_again_s,
)
from sidecar.advice.wording import change, level
from sidecar.errors import SettingsError, SignalError
from sidecar.loudness.gating import Part, gated_loudness
from sidecar.loudness.limits import is_over, is_under
from sidecar.loudness.series import Floats
from sidecar.model.readings import BLOCK_S, Limit, Move
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

LEAVE_ALONE_LU = 1.0
"""The widest error that is left alone, however wide the goal's tolerance (Tech 3343 §3.2, live)."""

_GAINS_DB: Floats = np.arange(-1200, 1201) / 10.0
"""Every move a fader can be asked for. All are tried: a gated loudness jumps where a gate moves."""

_LATE_SHARE = 0.2
"""Share of a pass still to come under which no move is asked for only to come back inside the bound."""

_ASSUMED_REST_BLOCKS = 2_400
"""A pass whose length is not known is taken to go on for four minutes. Ours, chosen on the tuning half of
tests/benchmarks/recordings.py."""

_RANGE_OF_WHOLE = (0.05, 0.95)


class LandingAdvisor:
    """How far to move the master fader so that a pass lands on the goal.

    It knows the fader's position in every block, so a move in mid-pass costs nothing: the past is
    brought to the present fader before anything is concluded from it.
    """

    def __init__(
        self,
        goal: Goal,
        duration_s: float | None = None,
        profile: ArrayLike | None = None,
        *,
        compare: Compare = compare,
    ) -> None:
        """Makes an advisor without any measured block.

        Parameters
        ----------
        goal
            Where the pass is to land.
        duration_s
            Length of the pass in seconds of programme; :meth:`this_pass` needs it, and lands the wrong
            length where it is wrong.
        profile
            Shape (n,): 100 ms energies of an earlier pass, mean squares at a fader of 0 dB. It is used
            only where it fits the measured blocks.
        compare
            Finds the measured blocks in that earlier pass. A run passes one that takes its time elsewhere
            where the earlier pass is long.

        Raises
        ------
        SettingsError
            The length is not above 0 s.
        SignalError
            The profile is not one row of finite mean squares.
        """
        self._compare = compare
        self.goal = goal
        """The goal advised on; the measured blocks are kept when it changes."""
        self.expect(duration_s, profile)
        self.reset()

    def expect(self, duration_s: float | None, profile: ArrayLike | None = None) -> None:
        """Uses another length and another earlier pass; the measured blocks are kept.

        Parameters
        ----------
        duration_s, profile
            As when it is made; None for unknown.

        Raises
        ------
        SettingsError, SignalError
            As when it is made.
        """
        if duration_s is not None and not 0.0 < duration_s < math.inf:
            raise SettingsError(f"A pass cannot last {duration_s} s. Give its length in seconds, above 0.")
        self.duration_s = duration_s
        self._profile = None if profile is None else _checked_profile(profile)

    @property
    def block_count(self) -> int:
        """Number of 100 ms blocks measured."""
        return self._history.block_count

    @property
    def metered(self) -> tuple[Floats, tuple[int, ...]]:
        """100 ms energies as metered, shape (blocks,), and the blocks before which the pass was cut."""
        return self._history.energies, tuple(self._history.cuts)

    @property
    def landing(self) -> float:
        """What the pass so far reads, LUFS."""
        return float(gated_loudness([Part(self._history.metered)]))

    @property
    def peak_dbtp(self) -> float:
        """Highest true peak of the material so far at the present fader, dBTP."""
        return self._history.peak_dbtp + (self._history.last_open_db or 0.0)

    def push(
        self, block_energy: ArrayLike, gain_db: ArrayLike, true_peak_dbtp: ArrayLike | None = None
    ) -> None:
        """Adds the next 100 ms blocks of the pass, one as scalars or several as arrays of shape (n,).

        Parameters
        ----------
        block_energy
            K-weighted channel-summed mean square *as metered*, behind the fader (linear, full scale 1.0):
            :attr:`Blocks.energy`.
        gain_db
            The fader gain in force in the block, dB; ``-inf`` when it is all the way down; one for all
            blocks, or one each. A move that is not given is taken for a change of the material.
        true_peak_dbtp
            Highest true peak of the block as metered: :attr:`Blocks.true_peak`. Without it the ceiling limits
            no move.

        Raises
        ------
        SignalError
            Values that no meter returns, or arrays of different lengths.
        """
        self._history.push(block_energy, gain_db, true_peak_dbtp)

    def splice(self) -> None:
        """The next block does not follow the last one (measuring was paused): no gating block spans the
        cut, as in :meth:`Meter.splice`."""
        self._history.splice()

    def reset(self) -> None:
        """Drops all measured blocks; the goal is kept."""
        self._history = History()

    def next_pass(self) -> Move:
        """Returns the move that makes a whole pass of the material so far land on the target.

        Returns
        -------
        Move
            From the present fader position; 0 dB while less than 3 s of programme were measured above
            the gate, and where nothing needs to be done (Tech 3343 §3.2). The reason says which.
        """
        history = self._history
        if history.last_open_db is None or not history.is_enough:
            return _LISTENING
        move = self._with_likely_range(self._whole_pass(history.last_open_db))
        if math.isinf(history.fader_db):
            return self._from_below(move, "a whole pass")
        return move

    def _whole_pass(self, fader_db: float) -> Move:
        """The move that lands a whole pass of the material so far, without its likely range."""
        landings = gated_loudness([Part(self._history.known, fader_db + _GAINS_DB)])
        return under_ceiling(
            self._toward_target(landings),
            lambda gain_db: float(landings[_index(gain_db)]),
            self._history.peak_dbtp + fader_db,
            self.goal,
        )

    def this_pass(self, stray_db: float = STRAY_DB) -> Move:
        """Returns the move from now on that lands this pass on the target, with the past as it was metered.

        Parameters
        ----------
        stray_db
            How far the fader may stray for it from the gain of a whole pass, dB; 0 for not at all.

        Returns
        -------
        Move
            From the present fader position, in steps: look again after :attr:`look_again_s`.

        Raises
        ------
        SettingsError
            The length of the pass is not known.
        """
        if self.duration_s is None:
            raise SettingsError("This pass needs its length: give the duration.")
        if self._rest_blocks <= 0:
            return self._ended()
        outlook = self.outlook(stray_db)
        return _LISTENING if outlook is None else outlook.move

    @property
    def is_silent(self) -> bool:
        """True once nothing above the absolute gate was metered for five seconds."""
        return self._history.is_silent

    def outlook(self, stray_db: float = STRAY_DB, *, at_rest: bool = False) -> Outlook | None:
        """Returns what the forecast says now, from which the steady advice is made.

        Parameters
        ----------
        stray_db
            As :meth:`this_pass` has it.
        at_rest
            Nothing plays: a pass whose length is not known is then taken to be over.

        Returns
        -------
        Outlook
            None while too little was measured, and after the pass.
        """
        history = self._history
        if history.last_open_db is None or not history.is_enough:
            return None
        if self.duration_s is None:
            if at_rest:
                return self._outlook_on_measured(history.last_open_db)
            return self._outlook_on_material(history.last_open_db)
        if self._rest_blocks <= 0:
            return None
        return self._outlook_on_pass(history.last_open_db, self.duration_s, stray_db)

    @property
    def _rest_blocks(self) -> int:
        return round((self.duration_s or 0.0) / BLOCK_S) - self._history.block_count

    def _outlook_on_measured(self, fader_db: float) -> Outlook:
        """Of a pass that seems to be over: the whole of it is what was measured."""
        history, move = self._history, self.next_pass()
        low, high = spread_lu(history.known_in_time * 10.0 ** (fader_db / 10.0))

        def at(gain_db: float) -> Move:
            landing = float(gated_loudness([Part(history.known, fader_db + gain_db)]))
            return Move(gain_db, landing, landing + low, landing + high)

        heard_lu = at(0.0).landing - self.goal.target_lufs
        return Outlook(
            move,
            move,
            at,
            0.0,
            lands_this_pass=False,
            heard_lu=heard_lu,
            expected_lu=heard_lu,
            headroom_db=self._headroom_db(fader_db),
        )

    def _outlook_on_material(self, fader_db: float) -> Outlook:
        """Of a pass whose length is not known: it is taken to go on for as long as a song.

        Its past cannot be repaired before an end that is not known, so the fader goes to the gain of a whole
        pass, as far as that is likely to be needed in any case.
        """
        history, target = self._history, self.goal.target_lufs
        rest = self._unheard_rest(_ASSUMED_REST_BLOCKS)
        share_to_come = _ASSUMED_REST_BLOCKS / (history.block_count + _ASSUMED_REST_BLOCKS)

        def at(gain_db: float) -> Move:
            gained_db = fader_db + gain_db
            likely = float(np.median(rest.wholes(history.known, gained_db)))
            low, high = rest.likely_range(Part(history.known, gained_db), gained_db, share_to_come)
            return Move(gain_db, likely, min(low, likely), max(high, likely))

        wholes = rest.wholes(history.known, fader_db)
        likely = float(np.median(wholes))
        if math.isinf(likely):  # under the gate where the fader is: only what was measured says how far
            move = from_top = self.next_pass()
        else:
            move, from_top = self._move_of_whole(wholes, fader_db), self._from_the_top(wholes, fader_db)
            found = at(move.gain_db)
            move = replace(found, limited_by=move.limited_by, reason=move.reason)
            if math.isinf(history.fader_db):
                move = self._from_below(move, "a whole pass")
        return Outlook(
            move,
            from_top,
            at,
            doubt_of(_gains_db(wholes, target)),
            lands_this_pass=False,
            heard_lu=float(gated_loudness([Part(history.known, fader_db)])) - target,
            expected_lu=likely - target,
            headroom_db=self._headroom_db(fader_db),
        )

    def _outlook_on_pass(self, fader_db: float, duration_s: float, stray_db: float) -> Outlook:
        history, rest_blocks, target = self._history, self._rest_blocks, self.goal.target_lufs
        compared = self._compared()
        fit, rest = compared.fit, compared.rest or self._unheard_rest(rest_blocks)
        ahead = Prospect(rest.tried_db, rest.landings(history.metered, fader_db), rest.price_s)
        share_to_come = rest_blocks * BLOCK_S / duration_s

        def at(gain_db: float) -> Move:
            likely = ahead.likely(gain_db)
            if not isinstance(rest, UnheardRest):
                return Move(gain_db, likely, *ahead.likely_range(gain_db))
            low, high = rest.likely_range(Part(history.metered), fader_db + gain_db, share_to_come)
            return Move(gain_db, likely, min(low, likely), max(high, likely))

        wholes = rest.wholes(history.known, fader_db)
        limits, doubt_db = bound(_gains_db(wholes, target), stray_db)
        move = self._steered(ahead, fader_db, share_to_come, duration_s, limits)
        move = under_ceiling(move, ahead.likely, history.peak_dbtp + fader_db, self.goal)
        found = at(move.gain_db)
        move = replace(move, landing_low=found.landing_low, landing_high=found.landing_high)
        if math.isinf(history.fader_db):
            move = self._from_below(move, "this pass")
        if not fit.fits and math.isfinite(fit.error_db):
            move = replace(move, reason=f"{move.reason} The earlier pass does not fit this one.")
        return Outlook(
            move,
            self._from_the_top(wholes, fader_db),
            at,
            doubt_db,
            lands_this_pass=True,
            is_known=not isinstance(rest, UnheardRest),
            is_out_of_reach=self._is_out_of_reach(ahead, at, limits),
            heard_lu=float(gated_loudness([Part(history.known, fader_db)])) - target,
            expected_lu=float(np.median(wholes)) - target,
            headroom_db=self._headroom_db(fader_db),
        )

    def _headroom_db(self, fader_db: float) -> float:
        return self.goal.ceiling_dbtp - self._history.peak_dbtp - fader_db

    def _from_the_top(self, wholes: Floats, fader_db: float) -> Move:
        """The move that lands a whole pass, what is expected of its rest included.

        wholes: where a whole pass at the present fader may land, LUFS.
        """
        goal, likely = self.goal, float(np.median(wholes))
        gain_db = 0.0 if self._is_left_alone(likely) else round(goal.target_lufs - likely, 1)
        if not math.isfinite(gain_db):
            return _LISTENING
        reason = f"{change(gain_db)} lands a whole pass." if gain_db else "A whole pass lands on target."
        move = self._whole_under_ceiling(Move(gain_db, likely + gain_db, reason=reason), fader_db)
        audible = wholes[np.isfinite(wholes)]
        low, high = np.quantile(audible, _RANGE_OF_WHOLE) + move.gain_db
        return replace(move, landing_low=float(low), landing_high=float(high))

    def _move_of_whole(self, wholes: Floats, fader_db: float) -> Move:
        """The move towards the gain of a whole pass, as far as that is likely to be needed in any case.

        wholes: where a whole pass at the present fader may land, LUFS.
        """
        likely = float(np.median(wholes))
        wanted_db = 0.0 if self._is_left_alone(likely) else likely_move(wholes, self.goal.target_lufs)
        gain_db = round(wanted_db, 1) + 0.0
        reason = whole_pass_heads(self.goal, gain_db, likely + gain_db)
        return self._whole_under_ceiling(Move(gain_db, likely + gain_db, reason=reason), fader_db)

    def _whole_under_ceiling(self, move: Move, fader_db: float) -> Move:
        """*move*, on a whole pass, as far as the ceiling allows it: a whole pass changes by as much as the
        fader."""
        left_alone = move.landing - move.gain_db
        peak_dbtp = self._history.peak_dbtp + fader_db
        return under_ceiling(move, lambda gain_db: left_alone + gain_db, peak_dbtp, self.goal)

    def range_widened_lu(self) -> float:
        """How much the fader moves so far have widened the loudness range of the pass.

        Returns
        -------
        float
            LU, 0 where they did not.
        """
        return self._history.range_widened_lu()

    @property
    def look_again_s(self) -> float:
        """Seconds of programme after which to compute the advice on this pass again: shorter toward its end,
        longest where its length is not known."""
        rest_s = (
            math.inf if self.duration_s is None else self.duration_s - self._history.block_count * BLOCK_S
        )
        return look_again_s(rest_s)

    @property
    def earlier_fit(self) -> EarlierFit | None:
        """How the earlier pass fits this one; None without one."""
        return None if self._profile is None else self._compared().fit

    @property
    def heard(self) -> Heard:
        """What is compared with an earlier pass: a copy."""
        run = self._history.cut_free_run
        return Heard(run, self._history.block_count - len(run), max(self._rest_blocks, 0))

    def _compared(self) -> Comparison:
        return NOT_COMPARED if self._profile is None else self._compare(self._profile, self.heard)

    def _unheard_rest(self, rest_blocks: int) -> UnheardRest:
        history = self._history
        in_time = history.known_in_time
        return unheard_rest(history.known, in_time, rest_blocks, history.began_db, self.goal.target_lufs)

    def _ended(self) -> Move:
        landing = self.landing
        if math.isinf(landing):
            return Move(reason="This pass has ended and was silent.")
        reason = f"This pass landed at {level(landing, self.goal)}."
        return Move(0.0, landing, landing, landing, reason=reason)

    def _steered(
        self, ahead: Prospect, fader_db: float, share_to_come: float, duration_s: float, limits: Bound
    ) -> Move:
        """The move for the rest of the pass with loudness alone in mind, inside the bound."""
        wanted_db = ahead.nearest(self.goal.target_lufs, share_to_come, duration_s)
        limits = limits if share_to_come > _LATE_SHARE else limits.with_present()
        allowed_db = round(limits.held(wanted_db), 1) + 0.0
        gain_db = min(max(allowed_db, -STEP_DOWN_DB), STEP_UP_DB)
        landing = ahead.likely(gain_db)
        reason = self._reason(ahead, gain_db, allowed_db, fader_db)
        return Move(gain_db, landing, limited_by=_step(gain_db, allowed_db), reason=reason)

    def _is_out_of_reach(self, ahead: Prospect, at: Callable[[float], Move], limits: Bound) -> bool:
        """Whether all that is likely at either end of the bound lies past the goal."""
        ends_db = np.clip([limits.lowest_db, limits.highest_db], MOVES_DB[0], MOVES_DB[-1]).round(1)
        lowest_db, highest_db = ends_db.tolist()
        over, under = self.goal.highest_lufs, self.goal.lowest_lufs
        if is_over(ahead.likely(lowest_db), over) and is_over(at(lowest_db).landing_low, over):
            return True
        return is_under(ahead.likely(highest_db), under) and is_under(at(highest_db).landing_high, under)

    def _reason(self, ahead: Prospect, gain_db: float, wanted_db: float, fader_db: float) -> str:
        goal = self.goal
        nearest = ahead.reachable(goal.target_lufs)
        if not goal.lowest_lufs - 0.1 <= nearest <= goal.highest_lufs + 0.1:
            return out_of_reach(goal, gain_db, nearest, self._whole_pass(fader_db).gain_db)
        return this_pass_heads(goal, gain_db, wanted_db, ahead.likely(gain_db))

    def _toward_target(self, landings: Floats) -> Move:
        """The move to the target with loudness alone in mind. landings: one for each of _GAINS_DB."""
        goal, now = self.goal, float(landings[_index(0.0)])
        if self._is_left_alone(now):
            return Move(0.0, now, reason=f"On target at {level(now, goal)}: leave the fader where it is.")
        gain_db = _nearest(landings, goal)
        landing = float(landings[_index(gain_db)])
        reason = f"{change(gain_db)}: a whole pass then lands at {level(landing, goal)}."
        return Move(gain_db, landing, reason=reason)

    def _is_left_alone(self, lufs: float) -> bool:
        goal = self.goal
        below = min(goal.tolerance_below_lu, LEAVE_ALONE_LU)
        above = min(goal.tolerance_above_lu, LEAVE_ALONE_LU)
        return goal.target_lufs - below <= lufs <= goal.target_lufs + above

    def _with_likely_range(self, move: Move) -> Move:
        history = self._history
        gain_db = (history.last_open_db or 0.0) + move.gain_db
        low, high = spread_lu(history.known_in_time * 10.0 ** (gain_db / 10.0))
        return replace(move, landing_low=move.landing + low, landing_high=move.landing + high)

    def _from_below(self, move: Move, what: str) -> Move:
        """With the fader all the way down no change in dB leads anywhere: the position is named instead."""
        position = (self._history.last_open_db or 0.0) + move.gain_db
        landing = level(move.landing, self.goal)
        reason = f"The fader is closed: at {figure(position)} dB {what} lands at {landing}."
        return replace(move, gain_db=0.0, limited_by=None, reason=reason)


_LISTENING = Move(reason=f"Listening: advice starts after {ENOUGH_S:.0f} s of programme above the gate.")


def _step(gain_db: float, wanted_db: float) -> Limit | None:
    return None if gain_db == wanted_db else "step"


def _checked_profile(profile: ArrayLike) -> Floats:
    energies = np.asarray(profile, dtype=np.float64)
    if energies.ndim != 1 or not np.all(np.isfinite(energies) & (energies >= 0.0)):
        raise SignalError("The earlier pass must be one row of mean squares, none negative.")
    return energies


def _gains_db(wholes: Floats, target_lufs: float) -> Floats:
    """The gains that would land a whole pass, ascending and equally likely."""
    return np.clip(target_lufs - wholes[::-1], _GAINS_DB[0], _GAINS_DB[-1])


def _index(gain_db: float) -> int:
    return round((gain_db - float(_GAINS_DB[0])) * 10.0)


def _nearest(landings: Floats, goal: Goal) -> float:
    """The gain that lands nearest to the target, inside the tolerance if that can be; ties go to the
    smallest move."""
    error = np.abs(landings - goal.target_lufs)
    passes = (landings >= goal.lowest_lufs) & (landings <= goal.highest_lufs)
    if passes.any():
        error = np.where(passes, error, math.inf)
    best = np.flatnonzero(error <= error.min() + 1e-9)
    return float(_GAINS_DB[best[np.argmin(np.abs(_GAINS_DB[best]))]])
