"""How much louder the rest of a pass may be than the same rest of an earlier one.

What differs from block to block averages out over the rest; what lasts for a while does not. So the level
difference so far is taken as a constant, a part that lasts, and a part that is new in every block. How
large these are, and how long the lasting one lasts, is not known: each guess is weighted by the likelihood
of the measured differences under it (a Bayesian mixture), and each leads to a Student's t for the rest. Two
performances that keep together give a narrow forecast; one that drifts away from the other gives a wide
one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sidecar.advice.quantiles import student
from sidecar.loudness.gating import RELATIVE_GATE
from sidecar.loudness.series import Floats

_SHORTEST_BLOCKS, _MOST_STRETCHES = 10, 120
"""Levels are compared in stretches of a second, longer ones of a long run."""

_LASTS_BLOCKS = (20.0, 50.0, 120.0, 300.0, 800.0, 2000.0, 6000.0)
"""After so long the part that lasts has fallen to 1/e."""

_SHARES = (0.0, 0.01, 0.03, 0.1, 0.3, 0.7, 0.98)
_WORTH = (4.5, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0)
"""So much of the variance in one block may last, and the weight of each guess before any measurement: that
nothing lasts about as much as all others together. Ours, from tests/benchmarks/landing_profiled.py."""

_LASTS: Floats = np.repeat(_LASTS_BLOCKS, len(_SHARES))
_SHARE: Floats = np.tile(_SHARES, len(_LASTS_BLOCKS))
_LOG_WORTH: Floats = np.log(np.tile(_WORTH, len(_LASTS_BLOCKS)))
"""All three for every guess."""

_LEAST_DB = 0.005
"""Taken to differ in every block even between passes of the very same sound, so that something is left."""

CHANCES: Floats = (np.arange(41) + 0.5) / 41
"""A level of the rest is given for each of these."""


@dataclass(frozen=True, slots=True)
class Difference:
    """How much louder a run of blocks is than the same of an earlier pass, stretch by stretch."""

    levels_db: Floats
    """Of each stretch, shape (n,), n may be 0."""
    unevenness: Floats
    """What of a block's own variance is left in the level of each stretch, shape (n,)."""
    gaps: Floats
    """Blocks from the middle of each stretch to that of the one before, and at last to the end of the run,
    shape (n + 1,)."""
    length: int
    """Blocks in a stretch."""
    level_db: float
    """Of all together."""
    own_db: float
    """Deviation of a block from its stretch."""
    more_db2: float
    """How much more the variance of a block is in the run than in the earlier pass."""


ALIKE = Difference(np.empty(0), np.empty(0), np.zeros(1), _SHORTEST_BLOCKS, 0.0, 0.0, 0.0)
"""No measured difference."""


def difference(recent: Floats, earlier: Floats) -> Difference:
    """recent, earlier: energies of the same blocks, shape (n,), NaN where unknown. Soft blocks decide
    nothing and are left out."""
    length = max(_SHORTEST_BLOCKS, math.ceil(len(recent) / _MOST_STRETCHES))
    odd = len(recent) % length
    recent, earlier = recent[odd:], earlier[odd:]
    either = np.sqrt(np.nan_to_num(recent) * earlier)  # picking by one of them would favour that one
    either[either <= RELATIVE_GATE * either.mean()] = 0.0
    loud = either > 0.0
    if not loud.any():
        return ALIKE
    ratios_db = np.zeros(len(either))
    ratios_db[loud] = 10.0 * np.log10(recent[loud] / earlier[loud])
    has_level = loud.reshape(-1, length).any(axis=1)

    def summed(values: Floats) -> Floats:
        return np.asarray(np.where(loud, values, 0.0).reshape(-1, length)[has_level].sum(axis=1))

    levels_db = 10.0 * np.log10(summed(recent) / summed(earlier))
    unevenness = summed(either**2) / summed(either) ** 2
    count = summed(np.ones(len(either)))
    middles_db = summed(ratios_db) / count
    own = float(np.sum(summed(ratios_db**2) - count * middles_db**2) / count.sum())
    lean_db = _lean_db(levels_db - middles_db, unevenness)
    return Difference(
        levels_db + lean_db * unevenness,
        unevenness,
        np.diff((np.flatnonzero(has_level) + 0.5) * length, prepend=0.0, append=len(either)),
        length,
        10.0 * math.log10(np.sum(recent[loud]) / np.sum(earlier[loud])),
        math.sqrt(max(own, 0.0)),
        lean_db * 20.0 / math.log(10.0),
    )


def _lean_db(over_middles_db: Floats, unevenness: Floats) -> float:
    """How much louder many blocks are together than on average of their levels: of two performances the one
    that varies more. Few blocks show less of that, by their unevenness.

    over_middles_db: what shows of it in each stretch.
    """
    seen = float(np.sum(1.0 - unevenness))
    return float(np.sum(over_middles_db)) / seen if seen > 1e-6 else 0.0


def rest_levels(so_far: Difference, ahead: Floats) -> Floats:
    """How much louder than *ahead* the rest may be, dB, ascending and equally likely, shape (41,).

    ahead: energies of the rest of the earlier pass, shape (m,), m > 0, following the present place.
    """
    freedom = len(so_far.levels_db) - 1
    if freedom < 1 or not ahead.any():  # a rest of silence lands nowhere else, however loud
        return np.full(len(CHANCES), so_far.level_db)
    middle_db, spread_db, chance = _guessed(so_far, ahead)
    levels_db = (middle_db[:, np.newaxis] + spread_db[:, np.newaxis] * student(freedom, CHANCES)).ravel()
    order = np.argsort(levels_db)
    share = np.cumsum(chance.repeat(len(CHANCES))[order]) / len(CHANCES)
    return np.asarray(np.interp(CHANCES, share, levels_db[order]))


def _guessed(so_far: Difference, ahead: Floats) -> tuple[Floats, Floats, Floats]:
    """Middle and spread of the level of the rest under each guess, dB, and how likely the guess is; shape
    (guesses,) each. A Kalman filter takes in the levels and, beside them, a constant of 1, which yields the
    constant that fits best under each guess."""
    kept = np.exp(-so_far.gaps[:, np.newaxis] / _LASTS)
    state, doubt = np.zeros((2, len(_LASTS))), _SHARE.copy()
    logs, squares = np.zeros(len(_LASTS)), np.zeros((3, len(_LASTS)))
    for level_db, own, keeps in zip(so_far.levels_db, so_far.unevenness, kept, strict=False):
        state *= keeps
        doubt = _SHARE + keeps**2 * (doubt - _SHARE)
        expected = doubt + (1.0 - _SHARE) * own
        news = np.array([[level_db], [1.0]]) - state
        part = doubt / expected
        state += part * news
        doubt *= 1.0 - part
        logs += np.log(expected)
        squares += np.stack([news[0] ** 2, news[0] * news[1], news[1] ** 2]) / expected
    count = len(so_far.levels_db)
    constant_db = squares[1] / squares[2]
    left = squares[0] - constant_db * squares[1] + count * _LEAST_DB**2
    chance = _LOG_WORTH - 0.5 * (logs + np.log(squares[2]) + (count - 1) * np.log(left))
    chance = np.exp(chance - chance.max())
    follows, lasting, own = _rest_shares(ahead, so_far.length)
    follows = follows * kept[-1]
    middle_db = constant_db + follows * (state[0] - constant_db * state[1])
    variance = (1.0 - _SHARE) * own + _SHARE * lasting + follows**2 * (doubt - _SHARE)
    variance += (1.0 - follows * state[1]) ** 2 / squares[2]
    spread_db = np.sqrt(np.maximum(variance, 0.0) * left / (count - 1))
    return middle_db, spread_db, chance / chance.sum()


def _rest_shares(ahead: Floats, length: int) -> tuple[Floats, Floats, float]:
    """What the loudness of the rest has, under each guess, of the lasting part as it is now, and of the
    variances of the lasting part and of a block's own."""
    sums = np.add.reduceat(ahead, np.arange(0, len(ahead), length))
    weights = sums / sums.sum()
    after = (np.arange(len(weights)) + 0.5) * length
    lasts = np.array(_LASTS_BLOCKS)
    follows = weights @ np.exp(-after[:, np.newaxis] / lasts)
    keeps = np.exp(-length / lasts)
    before, lasting = np.zeros(len(lasts)), np.zeros(len(lasts))
    for weight in weights.tolist():
        before = before * keeps + weight
        lasting += weight * (2.0 * before - weight)
    own = float(np.sum(ahead**2) / ahead.sum() ** 2)
    return np.repeat(follows, len(_SHARES)), np.repeat(lasting, len(_SHARES)), own
