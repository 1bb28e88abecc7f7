"""Where rides must go, how deep, and how few are enough."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sidecar.loudness.gating import GATING_STEPS, loudness_of
from sidecar.loudness.series import Floats
from sidecar.loudness.statistics import (
    SHORT_TERM_STEPS,
    ProgrammeStatistics,
    loudness_range,
    measured,
    percentile_levels,
    programme_windows,
    runs,
    windowed,
)
from sidecar.model.readings import BLOCK_S, SILENCE, Ride
from sidecar.settings.goals import Goal

RAMP_DB_PER_S = 1.0
"""Slope of the ramps: the rate at which a fader may be raised."""

SHORTEST_RAMP_S = 1.0

_BRIDGE_STEPS = 30
"""Places less than a short-term window apart share one ride."""

_RANGE_STEP_LU = 0.5
_RANGE_TRIES = 40

_DEPTH_SHARE = 0.75
"""A ride for the range is as deep as three quarters of its stretch need: the rest keeps its shape."""

_ROUNDING_LU = 1e-6


def ride_gains_db(rides: Sequence[Ride], blocks: int) -> Floats:
    """Gain of the rides in the middle of each 100 ms block, shape (blocks,)."""
    time_s = (np.arange(blocks) + 0.5) * BLOCK_S
    down, up = np.zeros(blocks), np.zeros(blocks)
    for ride in rides:
        away_s = np.maximum(np.maximum(ride.start_s - time_s, time_s - ride.start_s - ride.length_s), 0.0)
        gain_db = ride.gain_db * np.maximum(1.0 - away_s / ride.ramp_s, 0.0)
        down, up = np.minimum(down, gain_db), np.maximum(up, gain_db)
    return down + up


@dataclass(frozen=True, slots=True)
class Programme:
    """100 ms energies, and the places where one block does not follow the other."""

    energies: Floats
    """Shape (n,)."""
    cuts: tuple[int, ...] = ()
    """Blocks before which it was cut. No window spans a cut, so none asks for a ride across it."""

    def __len__(self) -> int:
        return len(self.energies)

    def gained(self, gains_db: Floats) -> Programme:
        """The same under a gain in each block, dB, shape (n,)."""
        return replace(self, energies=self.energies * 10.0 ** (gains_db / 10.0))

    def windows(self, steps: int) -> Floats:
        """Mean squares over *steps* blocks, 0 across a cut."""
        return windowed(self.energies, steps, self.cuts)

    def part(self, first: int, past: int) -> Programme:
        """Its blocks from *first* to before *past*."""
        cuts = tuple(cut - first for cut in self.cuts if first < cut < past)
        return Programme(self.energies[first:past], cuts)

    def measured(self) -> ProgrammeStatistics:
        """Its integrated loudness, maxima and range."""
        return measured(self.energies, self.cuts)


def excesses_lu(history: ProgrammeStatistics, goal: Goal) -> list[float]:
    """How far *history* is over each limit that the goal sets; negative where it keeps it."""
    pairs = (
        (history.max_short_term, goal.max_short_term_lufs),
        (history.max_momentary, goal.max_momentary_lufs),
        (history.loudness_range, goal.range_guide_lu),
    )
    return [value - limit for value, limit in pairs if limit is not None]


def capping_rides(programme: Programme, goal: Goal, trim_db: float, beside: Sequence[Ride]) -> list[Ride]:
    """Rides that hold short-term and momentary maximum under the goal's limits, after *trim_db*.

    beside: rides that are made anyway; what they lift is reckoned with. Every window that is over lies
    wholly under its ride, so one pass is enough; then each ride is shortened from both ends as far as
    the limits allow.
    """
    caps = [
        (steps, limit - trim_db)
        for steps, limit in (
            (SHORT_TERM_STEPS, goal.max_short_term_lufs),
            (GATING_STEPS, goal.max_momentary_lufs),
        )
        if limit is not None
    ]
    lifted = programme.gained(np.maximum(ride_gains_db(beside, len(programme)), 0.0))
    need_db = np.zeros(len(programme))
    for steps, cap in caps:
        need_db = np.maximum(need_db, _needed_db(lifted, steps, cap))
    found = [
        _ride(first, past, -float(need_db[first:past].max()))
        for first, past in runs(need_db > _ROUNDING_LU, _BRIDGE_STEPS)
    ]
    return [_shortened(lifted, caps, ride) for ride in found]


def range_rides(programme: Programme, goal: Goal, tightened_lu: float) -> list[Ride]:
    """The fewest rides that bring the loudness range to the goal's guide, less *tightened_lu*: loud places
    down, quiet ones up, or half of each."""
    short_term = programme.windows(SHORT_TERM_STEPS)
    if goal.range_guide_lu is None or loudness_range(short_term) <= goal.range_guide_lu - tightened_lu:
        return []
    guide_lu = goal.range_guide_lu - tightened_lu
    found = [_range_rides(programme, guide_lu, share) for share in (1.0, 0.0, 0.5)]
    return min(found, key=lambda tried: (round(max(tried[0], 0.0), 1), len(tried[1]), _effort(tried[1])))[1]


def landed_range_excess_lu(programme: Programme, goal: Goal, rides: Sequence[Ride]) -> float:
    """How far the loudness range is over the goal's guide with *rides* made; never above 0 without one."""
    if goal.range_guide_lu is None:
        return SILENCE
    ridden = programme.gained(ride_gains_db(rides, len(programme)))
    return loudness_range(ridden.windows(SHORT_TERM_STEPS)) - goal.range_guide_lu


def pruned(programme: Programme, goal: Goal, rides: Sequence[Ride]) -> list[Ride]:
    """*rides* without those that change nothing about the limits, the least ones tried first."""
    kept = list(rides)
    before = _landed_excesses(programme, goal, kept)
    for ride in sorted(rides, key=lambda ride: _effort([ride])):
        fewer = [other for other in kept if other is not ride]
        after = _landed_excesses(programme, goal, fewer)
        if all(new <= max(old, 0.0) + _ROUNDING_LU for new, old in zip(after, before, strict=True)):
            kept = fewer
    return kept


def _landed_excesses(programme: Programme, goal: Goal, rides: Sequence[Ride]) -> list[float]:
    ridden = programme.gained(ride_gains_db(rides, len(programme))).measured()
    trim_db = goal.target_lufs - ridden.integrated
    landed = replace(
        ridden,
        max_short_term=ridden.max_short_term + trim_db,
        max_momentary=ridden.max_momentary + trim_db,
    )
    return excesses_lu(landed, goal)


def _needed_db(programme: Programme, steps: int, cap: float) -> Floats:
    """How far each block must come down for all windows that hold it to keep *cap*, shape (n,)."""
    excess = loudness_of(programme.windows(steps)) - cap
    if not excess.size:
        return np.zeros(len(programme))
    edge = np.full(steps - 1, SILENCE)
    around = np.lib.stride_tricks.sliding_window_view(np.concatenate([edge, excess, edge]), steps)
    return np.asarray(np.maximum(around.max(axis=1), 0.0))


def _shortened(programme: Programme, caps: Sequence[tuple[int, float]], ride: Ride) -> Ride:
    """*ride* with as much off its beginning, then off its end, as keeps every cap round it."""
    margin = math.ceil(ride.ramp_s / BLOCK_S) + SHORT_TERM_STEPS
    first, length = round(ride.start_s / BLOCK_S), round(ride.length_s / BLOCK_S)
    offset = max(first - margin, 0)
    around = programme.part(offset, first + length + margin)

    def keeps(begin: int, past: int) -> bool:
        local = replace(ride, start_s=(begin - offset) * BLOCK_S, length_s=(past - begin) * BLOCK_S)
        held = around.gained(ride_gains_db([local], len(around)))
        peaks = [(held.windows(steps).max(initial=0.0), cap) for steps, cap in caps]
        return all(float(loudness_of(peak)) <= cap + _ROUNDING_LU for peak, cap in peaks)

    past = first + length
    begin = first + _most(length - 1, lambda off: keeps(first + off, past))
    past -= _most(past - begin - 1, lambda off: keeps(begin, past - off))
    return replace(ride, start_s=_seconds(begin), length_s=_seconds(past - begin))


def _most(limit: int, holds: Callable[[int], bool]) -> int:
    """The largest number up to *limit* that holds, by halving; 0 is taken to hold."""
    low, high = 0, limit
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if holds(middle) else (low, middle - 1)
    return low


def _range_rides(programme: Programme, guide_lu: float, share_down: float) -> tuple[float, list[Ride]]:
    """Rides that reach the guide, with *share_down* of the work done by lowering; what is left over it."""
    short_term = programme.windows(SHORT_TERM_STEPS)
    low, high = percentile_levels(short_term)
    level, counts = loudness_of(short_term), programme_windows(short_term)
    tried: list[tuple[float, list[Ride]]] = []
    for step in range(_RANGE_TRIES):
        amount = high - low - guide_lu + step * _RANGE_STEP_LU
        over = level - (high - amount * share_down)
        under = low + amount * (1.0 - share_down) - level
        rides = _stretches(np.where(counts, over, SILENCE), -1.0) if share_down > 0.0 else []
        rides += _stretches(np.where(counts, under, SILENCE), 1.0) if share_down < 1.0 else []
        ridden = programme.gained(ride_gains_db(rides, len(programme)))
        tried.append((loudness_range(ridden.windows(SHORT_TERM_STEPS)) - guide_lu, rides))
        if tried[-1][0] <= 0.0:
            return tried[-1]
    return min(tried, key=lambda pair: pair[0])


def _stretches(excess_lu: Floats, direction: float) -> list[Ride]:
    """One ride for each stretch of short-term windows that is out, under the middles of its windows.

    Half of each ramp lies inside: a ramp wholly outside would move what is right already.
    """
    middle = SHORT_TERM_STEPS // 2
    rides = []
    for first, past in runs(excess_lu > 0.0, _BRIDGE_STEPS):
        ride = _ride(first + middle, past + middle, direction * _depth(excess_lu[first:past]))
        inside_s = round(min(ride.ramp_s, ride.length_s) / 2.0, 1)
        length_s = max(round(ride.length_s - 2.0 * inside_s, 1), 0.0)
        rides.append(replace(ride, start_s=round(ride.start_s + inside_s, 1), length_s=length_s))
    return rides


def _depth(excess_lu: Floats) -> float:
    return float(np.quantile(excess_lu[excess_lu > 0.0], _DEPTH_SHARE))


def _ride(first: int, past: int, gain_db: float) -> Ride:
    """A ride over whole blocks, its gain rounded up to a whole tenth."""
    tenths = math.copysign(math.ceil(abs(gain_db) * 10.0 - _ROUNDING_LU) / 10.0, gain_db)
    ramp_s = max(SHORTEST_RAMP_S, math.ceil(abs(tenths) / RAMP_DB_PER_S * 10.0) / 10.0)
    return Ride(_seconds(first), _seconds(past - first), tenths, ramp_s)


def _seconds(blocks: int) -> float:
    return round(blocks * BLOCK_S, 1)


def _effort(rides: Sequence[Ride]) -> float:
    return sum(abs(ride.gain_db) * ride.length_s for ride in rides)
