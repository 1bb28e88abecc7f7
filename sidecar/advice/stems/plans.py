"""Fader changes of several stems, computed on the measured blocks: exact gates, whole tenths, limits kept."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum, auto

import numpy as np

from sidecar.advice.faders.tapers import FaderLimits
from sidecar.advice.stems.history import Bools, Gated, PeakBound, StemHistory
from sidecar.advice.stems.search import MOST_FADERS, Candidates, cheapest, shared_changes_db, together, ways
from sidecar.loudness.series import Floats
from sidecar.model.readings import SILENCE, Limit
from sidecar.model.units import loudness, mean_square

_NEAR_ENOUGH_LU = 0.06
"""Faders move in tenths, so a landing can miss by half of one, and by what a gate adds."""

_LANDED_LU = 0.1
_ROUNDS = 6
"""The gates move with the faders: they are set anew until the landing holds."""

_TRIED = 3
"""So many of the cheapest candidates are worked out exactly; the first guess is good to tenths."""

_SLACK_DB = 0.3
"""A candidate this far past a limit may still prove to be inside it once the gates are set anew."""

_BALANCED_LU = 0.5
"""A balance this near to the offset asked for is left alone."""

_RATIO_LU = 0.2
"""An LDR this near to the one asked for is left alone: it has the gate in it, and moves in tenths. Ours."""

_MORE_URGENT_DB = 1.5
"""Others than the latest faders are taken where all moves together are so much less. Ours."""

_CORRECTION_DB = 2.0
"""What one look may ask of a few faders against the others. More is no correction of a few, but the level of
the mix: all then move alike, and its balance stays. Ours, chosen on the tuning half of
tests/benchmarks/stems_on_recordings.py."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What to change, and what the mix then is."""

    changes_db: Floats
    """One change a stem, shape (stems,), whole tenths; 0 where a fader stays."""
    moving: Bools
    """Faders that the plan is about, shape (stems,), even where a limit left nothing of their move."""
    gated: Gated
    limited_by: Limit | None = None
    is_together: bool = False
    """True where the balance among the faders that move stays as it is."""

    @property
    def cost_db(self) -> float:
        """The sum of all changes without their signs."""
        return float(np.abs(self.changes_db).sum())


class Balance(Enum):
    """Why the rest is not to be moved against the stem that is held."""

    THERE = auto()
    """The balance is as was asked for, or that stem is silent."""
    BLOCKED = auto()
    """What is held is too loud by itself, or nothing may be moved."""


class Planner:
    """Plans from the present fader positions."""

    def __init__(self, history: StemHistory, target_lufs: float, limits: FaderLimits) -> None:
        self.target_lufs = target_lufs
        self._history = history
        self._limits = limits
        self._energy = mean_square(target_lufs)
        self._faders_db = history.faders_db

    def fewest(self, free: Bools, now: Gated, latest: Bools) -> Plan | None:
        """The fewest faders, then the least dB, that land inside one correction each; None where that needs
        more than MOST_FADERS, or two of them as far as they may go: then all go together.

        latest: the faders of the plan before. They are preferred unless others need _MORE_URGENT_DB less.
        """
        numbers = [int(stem) for stem in np.flatnonzero(free)]
        counts = range(1, min(MOST_FADERS, len(numbers)) + 1)
        plans = (self._cheapest(numbers, faders, now) for faders in counts)
        best = next((plan for plan in plans if plan is not None), None)
        before = [int(stem) for stem in np.flatnonzero(latest)]
        if best is None or not 0 < len(before) <= MOST_FADERS:
            return best
        same = self._cheapest(before, len(before), now)
        return best if same is None or same.cost_db - best.cost_db >= _MORE_URGENT_DB else same

    def _cheapest(self, numbers: list[int], faders: int, now: Gated) -> Plan | None:
        """The least dB with so many of these faders; None where none of them land by one correction each."""
        low_db, high_db = self._bounds_db()
        reach_db = high_db if now.lufs < self.target_lufs else low_db
        slack = (low_db - _SLACK_DB, high_db + _SLACK_DB)
        found = ways(numbers, reach_db, faders)
        likely = cheapest(found, self._products(now), self._energy, slack)[:_TRIED]
        plans = [plan for candidate in likely if (plan := self._landed(candidate, now)) is not None]
        fitting = [
            plan
            for plan in plans
            if self._error_lu(plan) <= _LANDED_LU
            and np.all((plan.changes_db >= low_db) & (plan.changes_db <= high_db))
            and np.count_nonzero(plan.moving & ((plan.changes_db <= low_db) | (plan.changes_db >= high_db)))
            < 2
        ]
        return min(fitting, key=lambda plan: plan.cost_db, default=None)

    def together(self, free: Bools, now: Gated) -> Plan | None:
        """All free faders alike, as far as the limits allow; None where that cannot reach the target.

        Down, a whole mix keeps its balance and needs no step; a part of it goes by one step.
        """
        plan = self._landed(together(free), now)
        if plan is None:
            return None
        is_all = bool(free[self._faders_db > SILENCE].all())
        lowest_db = -math.inf if is_all else -self._limits.step_down_db
        return self._limited(free, float(plan.changes_db[free][0]), lowest_db)

    def under_anchor(self, free: Bools, anchor: int, offset_lu: float) -> Plan | Balance:
        """All free faders alike, so that everything but the anchor lies *offset_lu* under it while it
        sounds: by one step at most, for that is a new balance."""
        alone_db = np.where(np.arange(len(free)) == anchor, self._faders_db, SILENCE)
        products = self._products(self._history.gated(alone_db))
        energy = float(products[anchor, anchor]) * 10.0 ** (-offset_lu / 10.0)
        products[anchor, :] = products[:, anchor] = 0.0
        rest = float(products.sum())
        if min(energy, rest) <= 0.0 or abs(loudness(rest) - loudness(energy)) <= _BALANCED_LU:
            return Balance.THERE
        wanted_db = float(shared_changes_db(products, together(free), energy)[0]) if free.any() else math.nan
        if math.isnan(wanted_db):
            return Balance.BLOCKED
        return self._limited(free, round(wanted_db, 1), -self._limits.step_down_db)

    def with_ldr(self, free: Bools, dialogue: int, ldr_lu: float) -> Plan | Balance:
        """All free faders alike, so that the mix reads *ldr_lu* more than the stem *dialogue* alone: by one
        step at most. Both are gated (R 128 s4 in Tech 3343 §9.4)."""
        now = self._history.gated(self._faders_db)
        alone_db = np.where(np.arange(len(free)) == dialogue, self._faders_db, SILENCE)
        wanted_lufs = self._history.gated(alone_db).lufs + ldr_lu
        if math.isinf(wanted_lufs) or abs(now.lufs - wanted_lufs) <= _RATIO_LU:
            return Balance.THERE
        towards = Planner(self._history, wanted_lufs, self._limits)
        plan = towards._landed(together(free), now) if free.any() else None
        if plan is None or towards._error_lu(plan) > _RATIO_LU:
            return Balance.BLOCKED
        return self._limited(free, float(plan.changes_db[free][0]), -self._limits.step_down_db)

    def peaks(self, plan: Plan) -> PeakBound:
        """What the true peaks of the mix can reach after *plan*."""
        return self._history.peak_bound(self._faders_db + plan.changes_db)

    def lowered(self, plan: Plan, off_db: float) -> Plan:
        """*plan*, a rise, with *off_db* less of it; a fader that has nothing left to rise stays."""
        changes_db = _tenths_towards_zero(np.maximum(plan.changes_db - off_db, 0.0))
        gated = self._history.gated(self._faders_db + changes_db)
        return replace(plan, changes_db=changes_db, gated=gated, limited_by="ceiling")

    def _limited(self, free: Bools, shared_db: float, lowest_db: float) -> Plan:
        """All *free* faders by *shared_db*, which may lower by *lowest_db* at most.

        Up, the tightest limit of any fader holds all, so the balance stays; down, each ends where its
        range does, where it can no longer be measured.
        """
        limit: Limit | None = None
        if shared_db > 0.0:
            allowed = [self._limits.within(float(fader_db), shared_db) for fader_db in self._faders_db[free]]
            cut_db, limit = min(allowed, key=lambda pair: pair[0])
            changes_db = np.where(free, _tenths_towards_zero(np.array(cut_db)), 0.0)
        else:
            step_db = max(shared_db, lowest_db)
            room_db = _tenths_towards_zero(np.minimum(self._limits.lowest_db - self._faders_db, 0.0))
            changes_db = np.where(free, np.maximum(step_db, room_db), 0.0)
            if step_db > shared_db:
                limit = "step"
            elif np.any(changes_db[free] > shared_db):
                limit = "range"
        gated = self._history.gated(self._faders_db + changes_db)
        return Plan(changes_db, free, gated, limit, is_together=True)

    def _landed(self, candidate: Candidates, start: Gated) -> Plan | None:
        """*candidate* brought to the target with the gates set anew; None where it cannot get there."""
        gated, seen = start, dict[float, Plan]()
        for _ in range(_ROUNDS):
            shared_db = shared_changes_db(self._products(gated), candidate, self._energy).round(1)
            if np.isnan(shared_db[0]) or float(shared_db[0]) in seen:
                break
            changes_db = candidate.changes_db(shared_db)[0]
            gated = self._history.gated(self._faders_db + changes_db)
            plan = seen[float(shared_db[0])] = Plan(changes_db, changes_db != 0.0, gated)
            if self._error_lu(plan) <= _NEAR_ENOUGH_LU:
                break
        return min(seen.values(), key=self._error_lu, default=None)

    def _error_lu(self, plan: Plan) -> float:
        return abs(plan.gated.lufs - self.target_lufs)

    def _products(self, gated: Gated) -> Floats:
        """Mean products behind the gates at the present fader positions."""
        amplitude = 10.0 ** (self._faders_db / 20.0)
        return self._history.mean_products(gated.weights) * np.outer(amplitude, amplitude)

    def _bounds_db(self) -> tuple[Floats, Floats]:
        """The furthest changes down and up of a few faders, shape (stems,) each."""
        faders_db = [float(fader_db) for fader_db in self._faders_db]
        low = np.array([self._limits.within(fader_db, -_CORRECTION_DB)[0] for fader_db in faders_db])
        high = np.array([self._limits.within(fader_db, _CORRECTION_DB)[0] for fader_db in faders_db])
        return _tenths_towards_zero(low), _tenths_towards_zero(high)


def _tenths_towards_zero(changes_db: Floats) -> Floats:
    return np.copysign(np.floor(np.abs(changes_db) * 10.0 + 1e-9) / 10.0, changes_db) + 0.0
