"""Fader rides: the few places where a programme must be held down or lifted to keep its limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sidecar.advice.rides.search import (
    Programme,
    capping_rides,
    excesses_lu,
    landed_range_excess_lu,
    pruned,
    range_rides,
    ride_gains_db,
)
from sidecar.advice.wording import level
from sidecar.loudness.series import Floats
from sidecar.loudness.statistics import ProgrammeStatistics
from sidecar.model.readings import Ride
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

CAUTION = (
    "Caution: a ride up raises peaks and can hurt ears. Check the true peak, and turn the monitors down."
)

MET_LU = 0.05
"""A measure this near to its limit keeps it: the resolution of a display (Tech 3341 §2.8)."""

_RANGE_ROUNDS = 3
"""Caps move the range's gates: so often the range is tightened and everything tried again."""

_TRIM_LU = 0.02
_MOST_TRIM_DB = 20.0
"""Rides that cost more than this cannot land the programme under its caps at all."""


@dataclass(frozen=True, slots=True)
class RidePlan:
    """Rides, the move of the whole programme that goes with them, and what both do."""

    rides: tuple[Ride, ...]
    """By time. Where two overlap the deeper one counts."""
    trim_db: float
    """Move of the whole programme, so that it lands on the target with the rides made."""
    before: ProgrammeStatistics
    ridden: ProgrammeStatistics
    """With the rides alone."""
    after: ProgrammeStatistics
    """With the rides and the trim."""
    is_met: bool
    """True where *after* keeps the goal's limits and its guide for the range."""
    reason: str
    caution: str = ""


def plan_rides(energies: Floats, goal: Goal, cuts: Sequence[int] = ()) -> RidePlan:
    """The shortest list of rides that brings a programme, landed on its target, inside the goal's limits.

    energies: 100 ms K-weighted channel-summed mean squares as metered, shape (n,). cuts: blocks before which
    the pass was cut; what lies on both sides of a cut is never measured in one window.
    Limits are held on the landed programme: rides change the integrated loudness, so the trim that lands
    it is found together with them. What they do is exact for gains that hold within each block.
    """
    programme = Programme(energies, tuple(cuts))
    before = programme.measured()
    if not math.isfinite(before.integrated):
        return RidePlan((), 0.0, before, before, before, True, "No rides yet: too little programme.")
    rides = list[Ride]()
    tightened_lu = 0.0
    for _ in range(_RANGE_ROUNDS):
        rides = _landed(programme, goal, range_rides(programme, goal, tightened_lu))
        over_lu = landed_range_excess_lu(programme, goal, rides)
        if over_lu <= MET_LU:
            break
        tightened_lu += over_lu
    return _plan(programme, goal, before, pruned(programme, goal, rides))


def _landed(programme: Programme, goal: Goal, for_range: Sequence[Ride]) -> list[Ride]:
    """*for_range* and the rides that cap the maxima once all is landed.

    Caps lower the integrated loudness, so the trim rises, so the caps bite deeper: the smallest trim is
    sought that is not less than what its own rides need. Held for that trim, the caps hold.
    """

    def rides(trim_db: float) -> list[Ride]:
        return [*for_range, *capping_rides(programme, goal, trim_db, for_range)]

    def needs_db(trim_db: float) -> float:
        return goal.target_lufs - _ridden(programme, rides(trim_db)).integrated

    first_db = goal.target_lufs - _ridden(programme, for_range).integrated
    low_db = high_db = first_db
    while (needed_db := needs_db(high_db)) > high_db:
        if needed_db - first_db > _MOST_TRIM_DB:
            return rides(first_db)
        low_db, high_db = high_db, 2.0 * needed_db - high_db + _TRIM_LU
    while high_db - low_db > _TRIM_LU:
        middle_db = (low_db + high_db) / 2.0
        low_db, high_db = (low_db, middle_db) if needs_db(middle_db) <= middle_db else (middle_db, high_db)
    return rides(high_db)


def _ridden(programme: Programme, rides: Sequence[Ride]) -> ProgrammeStatistics:
    return programme.gained(ride_gains_db(rides, len(programme))).measured()


def _plan(programme: Programme, goal: Goal, before: ProgrammeStatistics, rides: Sequence[Ride]) -> RidePlan:
    gains_db = ride_gains_db(rides, len(programme))
    ridden = programme.gained(gains_db).measured()
    trim_db = goal.target_lufs - ridden.integrated
    after = programme.gained(gains_db + trim_db).measured()
    is_met = all(excess <= MET_LU for excess in excesses_lu(after, goal))
    reason = _reason(goal, after, rides, ridden.integrated - before.integrated, is_met)
    caution = CAUTION if any(ride.gain_db > 0.0 for ride in rides) else ""
    ordered = tuple(sorted(rides, key=lambda ride: ride.start_s))
    return RidePlan(ordered, trim_db, before, ridden, after, is_met, reason, caution)


def _reason(
    goal: Goal, after: ProgrammeStatistics, rides: Sequence[Ride], shift_lu: float, is_met: bool
) -> str:
    reads = (
        f"short-term at most {level(after.max_short_term, goal)}, momentary at most "
        f"{level(after.max_momentary, goal)}, range {figure(after.loudness_range)} LU"
    )
    if not rides:
        moved = (
            f"{'No ride is needed' if is_met else 'No ride is made'}: landed, the programme reads {reads}."
        )
    else:
        count = "1 ride shifts" if len(rides) == 1 else f"{len(rides)} rides shift"
        moved = f"{count} integrated by {figure(shift_lu)} LU; landed, the programme reads {reads}."
    return moved if is_met else f"{moved} No rides keep all limits. Work on the mix."
