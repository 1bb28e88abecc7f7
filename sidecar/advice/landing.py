"""The programme fader: how many dB, and where the programme lands."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from sidecar.advice.bootstrap import spread_lu
from sidecar.advice.gating import Part, gated_loudness
from sidecar.advice.headroom import under_ceiling
from sidecar.advice.history import History
from sidecar.advice.series import Floats
from sidecar.advice.wording import change, figure, level
from sidecar.goals import Goal
from sidecar.vocabulary import Move

ENOUGH_S = 3.0
"""Programme above the gate before anything is advised: one short-term window (Tech 3341 §2.2)."""

LEAVE_ALONE_LU = 1.0
"""The widest error that is left alone, however wide the goal's tolerance (Tech 3343 §3.2, live)."""

_GAINS_DB: Floats = np.arange(-1200, 1201) / 10.0
"""Every move a fader can be asked for. All are tried: a gated loudness jumps where a gate moves."""


class LandingAdvisor:
    """Says how far to move the programme fader so that a pass lands on the goal.

    It knows where the fader stood in every block, so a move in mid-pass costs nothing: the past is
    brought to the present fader before anything is concluded from it.
    """

    def __init__(self, goal: Goal) -> None:
        self.goal = goal
        """The goal advised on; a new one keeps what was heard."""
        self._history = History()

    def push(
        self, block_energy: ArrayLike, gain_db: ArrayLike, true_peak_dbtp: ArrayLike | None = None
    ) -> None:
        """Takes in 100 ms blocks, one as scalars or several as arrays of shape (n,).

        block_energy: K-weighted channel-summed mean square as metered (linear, full scale 1.0).
        gain_db: the fader gain in force in the block; ``-inf`` when it is all the way down.
        true_peak_dbtp: highest true peak of the block as metered.
        Raises SignalError for values that no meter gives.
        """
        self._history.push(block_energy, gain_db, true_peak_dbtp)

    def splice(self) -> None:
        """Says that the next block does not follow the last one (measuring was paused)."""
        self._history.splice()

    def reset(self) -> None:
        """Forgets everything heard; the goal stays."""
        self._history = History()

    def next_pass(self) -> Move:
        """The move that makes a whole pass of the material heard so far land on the target."""
        heard = self._history
        if heard.last_open_db is None or heard.heard_s < ENOUGH_S:
            return Move(
                reason=f"Listening: advice starts after {ENOUGH_S:.0f} s of programme above the gate."
            )
        landings = gated_loudness([Part(heard.known, heard.last_open_db + _GAINS_DB)])
        move = under_ceiling(
            self._toward_target(landings),
            lambda gain_db: float(landings[_index(gain_db)]),
            heard.peak_dbtp + heard.last_open_db,
            self.goal,
        )
        move = self._with_band(move)
        if math.isinf(heard.fader_db):
            return self._from_below(move)
        return move

    def _toward_target(self, landings: Floats) -> Move:
        """The move to the target with loudness alone in mind. landings: one for each of _GAINS_DB."""
        goal, now = self.goal, float(landings[_index(0.0)])
        if self._is_left_alone(now):
            return Move(0.0, now, reason=f"On target at {level(now, goal)}: leave the fader where it is.")
        gain_db = _nearest(landings, goal)
        landing = float(landings[_index(gain_db)])
        reason = f"{change(gain_db)}: the whole pass then lands at {level(landing, goal)}."
        return Move(gain_db, landing, reason=reason)

    def _is_left_alone(self, lufs: float) -> bool:
        goal = self.goal
        below = min(goal.tolerance_below_lu, LEAVE_ALONE_LU)
        above = min(goal.tolerance_above_lu, LEAVE_ALONE_LU)
        return goal.target_lufs - below <= lufs <= goal.target_lufs + above

    def _with_band(self, move: Move) -> Move:
        heard = self._history
        gain_db = (heard.last_open_db or 0.0) + move.gain_db
        low, high = spread_lu(heard.known_in_time.values * 10.0 ** (gain_db / 10.0))
        return replace(move, landing_low=move.landing + low, landing_high=move.landing + high)

    def _from_below(self, move: Move) -> Move:
        """With the fader all the way down no change in dB leads anywhere: the position is named instead."""
        position = (self._history.last_open_db or 0.0) + move.gain_db
        landing = level(move.landing, self.goal)
        reason = f"The fader is all the way down: at {figure(position)} dB a whole pass lands at {landing}."
        return replace(move, gain_db=0.0, limited_by=None, reason=reason)


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
