"""Where in an earlier pass the pass that is playing stands, and what that says of the rest of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from sidecar.advice.forecast import MOVES_DB
from sidecar.advice.series import Floats
from sidecar.gating import GATING_STEPS, RELATIVE_GATE, Part, Powers, gated_loudness, gating_powers
from sidecar.vocabulary import BLOCK_S

_SHORTEST_BLOCKS = 200
"""Programme of 20 s that must have played since the last cut before it can be found in an earlier pass."""

_LONGEST_BLOCKS = 6000
"""Ten minutes place a pass; more would only cost time."""

_COARSE_BLOCKS = 5
_NEAR_BLOCKS = 20
_DEPTH_DB = 40.0
"""Levels further under the loudest count as this far under it: silences do not differ."""

_CLOSE_DB, _LOOSE_DB = 1.0, 4.0
"""A difference that always fits, and one that never does."""

_STRETCH_BLOCKS = 100
_LEAST_SPREAD_DB = 0.15
"""No two performances are nearer to each other than this from one stretch to the next."""

_CHANCES: Floats = (np.arange(41) + 0.5) / 41
_REACH_DB: Floats = np.arange(-1000, 1001) / 10.0
"""Gain and shift together, dB from the present fader."""


@dataclass(frozen=True, slots=True)
class KnownRest:
    """The rest of a pass of which an earlier one is known, at a fader of 0 dB."""

    powers: Powers
    weight: float
    """How often each block counts: blocks still to come by blocks known of them."""
    shifts_db: Floats
    """How much louder than *powers* it may be, equally likely."""

    @property
    def price_s(self) -> float:
        """See :class:`sidecar.advice.forecast.Rest`."""
        return 2.0

    def landings(self, metered: Powers, fader_db: float) -> Floats:
        """See :class:`sidecar.advice.forecast.Rest`."""
        tried = gated_loudness([Part(metered), Part(self.powers, fader_db + _REACH_DB, self.weight)])
        return np.sort(np.interp(MOVES_DB[:, np.newaxis] + self.shifts_db, _REACH_DB, tried), axis=1)


@dataclass(frozen=True, slots=True)
class ProfileFit:
    """How an earlier pass fits the one that is playing."""

    offset_s: float
    """Where in the earlier pass this one began, seconds; negative when this one began before it."""
    error_db: float
    """Level difference that is left, root mean square over 100 ms blocks, a constant one taken out."""
    level_db: float
    """How much louder this pass is, brought to the same fader."""
    spread_db: float
    """How much that differs from one ten-second stretch to the next."""
    fits: bool


NO_FIT = ProfileFit(offset_s=0.0, error_db=math.inf, level_db=0.0, spread_db=math.inf, fits=False)
"""Too little has played to tell."""


def fit_profile(run: Floats, began: int, profile: Floats) -> ProfileFit:
    """Finds the latest unbroken programme in an earlier pass.

    run: 100 ms energies since the last cut at a fader of 0 dB, shape (n,), NaN where unknown.
    began: how many blocks of the pass lie before *run*. profile: energies of the earlier pass, shape (m,).
    """
    latest = max(2 * len(run) // 3, _SHORTEST_BLOCKS)  # a lead-in may have no counterpart
    window = min(len(run), len(profile), _LONGEST_BLOCKS, latest)
    recent = run[len(run) - window :]
    if window < _SHORTEST_BLOCKS or not np.any(recent > 0.0) or not np.any(profile > 0.0):
        return NO_FIT
    skipped = began + len(run) - window
    levels, earlier = _levels(recent), _levels(profile)
    place = _best_place(levels, earlier, expected=skipped)
    error_db = float(_errors(levels, _levels(profile[place : place + window]))[0])
    limit_db = min(max(_CLOSE_DB, 0.5 * float(np.std(levels))), _LOOSE_DB)
    level_db, spread_db = _level(recent, profile[place : place + window])
    return ProfileFit((place - skipped) * BLOCK_S, error_db, level_db, spread_db, error_db <= limit_db)


def known_rest(fit: ProfileFit, profile: Floats, heard_blocks: int, rest_blocks: int) -> KnownRest | None:
    """The rest of a pass according to an earlier one; None when that one has too little of it."""
    at = heard_blocks + round(fit.offset_s / BLOCK_S)
    ahead = min(len(profile) - at, rest_blocks)
    if len(profile) >= heard_blocks + rest_blocks:
        rest_blocks = ahead  # the earlier pass is a whole one: the programme ends where it ended
    if ahead <= 0 or ahead < rest_blocks / 2:
        return None
    doubt = 1.0 / _telling_stretches(profile[: max(at, 1)]) + 1.0 / _telling_stretches(
        profile[at : at + ahead]
    )
    spread_db = fit.spread_db * math.sqrt(doubt)
    powers = gating_powers(profile[max(at - GATING_STEPS + 1, 0) : at + ahead])
    shifts_db = fit.level_db + spread_db * ndtri(_CHANCES)
    return KnownRest(Powers(powers), rest_blocks / ahead, shifts_db)


def _levels(energies: Floats) -> Floats:
    """dB under the loudest, not deeper than _DEPTH_DB; unknown blocks count as the middle of the others."""
    floor = np.nanmax(energies) * 10.0 ** (-_DEPTH_DB / 10.0)
    levels = 10.0 * np.log10(np.maximum(energies, floor))
    return np.asarray(np.where(np.isnan(levels), np.nanmean(levels), levels))


def _best_place(levels: Floats, earlier: Floats, expected: int) -> int:
    """Block of *earlier* at which *levels* begins. The place at which it would be if both passes had begun
    together is kept unless another is clearly better."""
    last = len(earlier) - len(levels)
    coarse = int(np.argmin(_errors(_thin(levels), _thin(earlier)))) * _COARSE_BLOCKS
    found, error_db = _nearby(levels, earlier, min(coarse, last))
    kept, kept_error_db = _nearby(levels, earlier, min(expected, last))
    return kept if kept_error_db <= 1.4 * error_db else found


def _nearby(levels: Floats, earlier: Floats, place: int) -> tuple[int, float]:
    first = max(place - _NEAR_BLOCKS, 0)
    errors = _errors(levels, earlier[first : place + _NEAR_BLOCKS + len(levels)])
    best = int(np.argmin(errors))
    return first + best, float(errors[best])


def _thin(levels: Floats) -> Floats:
    whole = levels[: len(levels) // _COARSE_BLOCKS * _COARSE_BLOCKS]
    return np.asarray(whole.reshape(-1, _COARSE_BLOCKS).mean(axis=1))


def _errors(levels: Floats, earlier: Floats) -> Floats:
    """Root mean square difference in dB at each place, its mean taken out, shape (m - n + 1,)."""
    from scipy.signal import correlate  # slow to import, and only needed with a profile

    count = len(levels)
    centred = levels - levels.mean()
    earlier = earlier - earlier.mean()
    sums = _sliding(earlier, count)
    variance = _sliding(earlier**2, count) - sums**2 / count
    left = np.sum(centred**2) + variance - 2.0 * correlate(earlier, centred, mode="valid")
    return np.asarray(np.sqrt(np.maximum(left, 0.0) / count))


def _sliding(values: Floats, count: int) -> Floats:
    total: Floats = np.concatenate(([0.0], np.cumsum(values)))
    return total[count:] - total[:-count]


def _telling_stretches(energies: Floats) -> float:
    """How many ten-second stretches share in the loudness: the loud ones decide it, the soft ones do not."""
    sums = np.add.reduceat(energies, np.arange(0, len(energies), _STRETCH_BLOCKS))
    return max(float(np.sum(sums) ** 2 / max(np.sum(sums**2), 1e-30)), 1.0)


def _level(recent: Floats, earlier: Floats) -> tuple[float, float]:
    """How much louder *recent* is, dB, and the deviation of that over ten-second stretches."""
    either = np.sqrt(np.nan_to_num(recent) * earlier)  # picking by one of them would favour that one
    loud = either > RELATIVE_GATE * either.mean()
    if not loud.any():
        return 0.0, _LOOSE_DB
    recent, earlier = recent[loud], earlier[loud]
    edges = np.arange(0, max(len(recent) - _STRETCH_BLOCKS // 2, 1), _STRETCH_BLOCKS)
    ratios = np.add.reduceat(recent, edges) / np.add.reduceat(earlier, edges)
    level_db = 10.0 * math.log10(recent.sum() / earlier.sum())
    return level_db, max(float(np.std(10.0 * np.log10(ratios))), _LEAST_SPREAD_DB)
