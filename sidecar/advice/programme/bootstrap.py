"""How far the loudness of a programme may lie from what a piece of it shows.

The piece is cut into stretches of seconds to minutes, and programmes are dealt from them at random, with
repeats (a block bootstrap). Stretches, not gating blocks, because neighbours sound alike. The same
input always gives the same likely range.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

from sidecar.advice.quantiles import normal, student
from sidecar.loudness.gating import ABSOLUTE_GATE, RELATIVE_GATE, loudness_of
from sidecar.loudness.series import Floats
from sidecar.model.units import mean_square

COVERAGE = 0.90
"""Share of programmes that a likely range is meant to hold."""

UNHEARD_LU = 6.0
"""Half the likely range while there is too little to deal from: a rough mix lies within about 6 LU of its
goal (common practice, no source)."""

_STRETCH_BLOCKS = 50
"""Shortest stretch: 5 s of gating blocks, longer than a spoken phrase."""

_MOST_STRETCHES = 60
_DEALS = 160
_SEED = 1770

_LOWEST_LUFS, _STEP_LU, _CLASSES = -80.0, 1.0, 100
"""Level classes that the gates are set on; 1 LU is fine enough for a likely range."""

_EDGES: Floats = np.array([mean_square(_LOWEST_LUFS + _STEP_LU * step) for step in range(_CLASSES)])


def spread_lu(powers: Floats) -> tuple[float, float]:
    """How far under and over its loudness a programme may lie that sounds like *powers*: 90 % likely range.

    powers: gating blocks in order of time, mean squares under the gain in question, shape (n,).
    Returns LU, the first never above 0, the second never below 0.
    """
    length = max(_STRETCH_BLOCKS, math.ceil(len(powers) / _MOST_STRETCHES))
    stretches = len(powers) // length
    if stretches < 2:
        return -UNHEARD_LU, UNHEARD_LU
    counts, totals = _classes(powers[: stretches * length], length)
    deals = _deals(stretches)
    dealt = _gated(deals @ counts, deals @ totals)
    center = _gated(counts.sum(axis=0), totals.sum(axis=0))
    dealt = dealt[np.isfinite(dealt)]
    if not dealt.size or not math.isfinite(center):
        return -UNHEARD_LU, UNHEARD_LU
    tail = (1.0 - COVERAGE) / 2.0
    low, high = np.quantile(dealt, [tail, 1.0 - tail]) - center
    widening = _few(stretches)
    return min(float(low) * widening, 0.0), max(float(high) * widening, 0.0)


def _classes(powers: Floats, length: int) -> tuple[Floats, Floats]:
    """Blocks and their summed power per stretch and level class, shapes (stretches, classes)."""
    counts, totals = (np.empty((len(powers) // length, _CLASSES)) for _ in range(2))
    for stretch, blocks in enumerate(powers.reshape(-1, length)):  # one by one: a day is long
        level = (loudness_of(blocks) - _LOWEST_LUFS) / _STEP_LU
        place = np.clip(level, 0, _CLASSES - 1).astype(np.intp)
        counts[stretch] = np.bincount(place, minlength=_CLASSES)
        totals[stretch] = np.bincount(place, weights=blocks, minlength=_CLASSES)
    return counts, totals


@functools.lru_cache(maxsize=4)
def _deals(stretches: int) -> Floats:
    """How often each deal holds each stretch, shape (deals, stretches)."""
    even = np.full(stretches, 1.0 / stretches)
    deals = np.random.default_rng(_SEED).multinomial(stretches, even, size=_DEALS)
    return np.asarray(deals, dtype=np.float64)


def _gated(counts: Floats, totals: Floats) -> Floats:
    """Gated loudness of level classes on the last axis, LUFS."""
    gate = np.maximum(RELATIVE_GATE * _kept(counts, totals, _EDGES > ABSOLUTE_GATE), ABSOLUTE_GATE)
    return loudness_of(_kept(counts, totals, gate[..., np.newaxis] < _EDGES))


def _kept(counts: Floats, totals: Floats, kept: NDArray[np.bool_]) -> Floats:
    number: Floats = np.sum(counts * kept, axis=-1)
    total: Floats = np.sum(totals * kept, axis=-1)
    return np.divide(total, number, out=np.zeros_like(number), where=number > 0.0)


def _few(stretches: int) -> float:
    """A likely range from few stretches is too narrow by the bias of its variance and by Student's t."""
    upper = np.array(0.5 + COVERAGE / 2.0)
    return float(student(stretches - 1, upper) / normal(upper)) * math.sqrt(stretches / (stretches - 1))
