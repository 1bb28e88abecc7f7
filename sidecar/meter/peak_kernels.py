"""The compiled true peak (ITU-R BS.1770-5 Annex 2), on a grid of 16 points a sample."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.interpolation import (
    ALL_FOUR_EXCESS,
    ALL_FOUR_GAIN,
    LAST_TWO,
    LAST_TWO_EXCESS,
    REACH,
    STAGES,
)
from sidecar.meter.planes import SEGMENT, highest
from sidecar.native.kernels import part

_FIRST, _SECOND = STAGES[:2]
_PAIRS = _FIRST.size
_EXCESS = np.float32(LAST_TWO_EXCESS)
_WHOLE_GAIN, _WHOLE_EXCESS = np.float32(ALL_FOUR_GAIN), np.float32(ALL_FOUR_EXCESS)
_BEFORE = _PAIRS + 1
"""Samples before the first around which the grid is calculated."""
_GROUP = 16
"""Samples around which the grid is calculated or not."""
_MOST = (REACH + SEGMENT) // _GROUP + 1
"""Groups that are looked at together, whether there are so many or not."""
_APART = 3
"""Groups between two that are calculated one by one: fewer are calculated with them, which costs less."""
_TWO = np.float32(2.0)

Floats = NDArray[np.float32]
Workspace = tuple[Floats, Floats, Floats, Floats, Floats, NDArray[np.int32], Floats, Floats, Floats, Floats]

# Planes hold no NaN (see planes.take_in), so the compiler may assume there is none.
_FLAGS = {"contract", "reassoc", "nsz", "nnan"}


@part(fastmath=_FLAGS)
def _midpoints(x: Any, out: Any) -> None:
    """out[i]: midway between x[i + 15] and x[i + 16]. The taps are built in: unrolled, it runs ten times
    faster."""
    for i in range(out.size):
        mid = np.float32(0.0)
        for k in range(_PAIRS):
            mid += _FIRST[k] * (x[i + _PAIRS - 1 - k] + x[i + _PAIRS + k])
        out[i] = mid


@part(fastmath=_FLAGS)
def _quarters(x: Any, mids: Any, out: Any) -> None:
    """out[i]: midway between x[i + 2] and mids[i + 2], where mids[i] lies between x[i] and x[i + 1]."""
    for i in range(out.size):
        out[i] = (
            _SECOND[0] * (x[i + 2] + mids[i + 2])
            + _SECOND[1] * (mids[i + 1] + x[i + 3])
            + _SECOND[2] * (x[i + 1] + mids[i + 3])
            + _SECOND[3] * (mids[i] + x[i + 4])
        )


@part(fastmath=_FLAGS)
def _tops(points: Any, out: Any) -> None:
    """The larger size of each four points: a sample and the three behind it."""
    whole, first, second, third = points
    for i in range(out.size):
        a, b, c, d = abs(whole[i]), abs(first[i]), abs(second[i]), abs(third[i])
        a = a if a > b else b
        c = c if c > d else d
        out[i] = a if a > c else c


@part(fastmath=_FLAGS)
def _curves(points: Any, out: Any) -> None:
    """The largest second difference around each four points."""
    whole, first, second, third = points
    for i in range(out.size):
        a = abs(whole[i] - _TWO * first[i] + second[i])
        b = abs(first[i] - _TWO * second[i] + third[i])
        c = abs(second[i] - _TWO * third[i] + whole[i + 1])
        d = abs(third[i] - _TWO * whole[i + 1] + first[i + 1])
        a = a if a > b else b
        c = c if c > d else d
        out[i] = a if a > c else c


@part(fastmath=_FLAGS)
def _between(points: Any, i: int, peak: np.float32, around: Any) -> np.float32:
    """Highest of *peak* and what lies on the grid of 16 beside sample i and the three points behind it."""
    for k in range(3):
        for phase in range(4):
            around[4 * k + phase] = points[phase][i - 1 + k]
    for start in range(5):
        for row in range(LAST_TWO.shape[0]):
            value = np.float32(0.0)
            for k in range(LAST_TWO.shape[1]):
                value += LAST_TWO[row, k] * around[start + k]
            peak = max(peak, abs(value))
    return peak


@part(fastmath=_FLAGS)
def _sizes_and_bends(x: Any, sizes: Any, bends: Any) -> None:
    """Sizes of samples, and of second differences around them, with zeros behind."""
    for i in range(x.size):
        sizes[i] = abs(x[i])
    behind = bends[1:]
    for i in range(x.size - 2):
        behind[i] = abs(x[i] - _TWO * x[i + 1] + x[i + 2])
    bends[0] = bends[x.size - 1] = np.float32(0.0)
    for i in range(x.size, _MOST * _GROUP):
        sizes[i] = bends[i] = np.float32(0.0)


@part(fastmath=_FLAGS)
def _fold(row: Any, out: Any, count: int) -> None:
    """The larger of each of so many pairs of neighbours."""
    for i in range(count):
        a, b = row[2 * i], row[2 * i + 1]
        out[i] = a if a > b else b


@part()
def _shrink(row: Any, half: Any) -> None:
    """Puts the largest of each group of 16 numbers to the front of *row*, and zeros behind: pair by pair,
    which vectorises. half: scratch, half as long."""
    _fold(row, half, 8 * _MOST)
    _fold(half, row, 4 * _MOST)
    _fold(row, half, 2 * _MOST)
    _fold(half, row, _MOST)
    for k in range(_MOST, _MOST + 3):
        row[k] = np.float32(0.0)


@part(fastmath=_FLAGS)
def _bound(sizes: Any, bends: Any, bounds: Any) -> None:
    """The level that no point of the grid of 16 around each group exceeds, see interpolation.ALL_FOUR_EXCESS.

    A group of 16 lies in the middle of 56 samples, on which its points depend.
    """
    for k in range(bounds.size):
        a, b = sizes[k + 1], sizes[k + 2]
        c, d, e, f = bends[k], bends[k + 1], bends[k + 2], bends[k + 3]
        a = a if a > b else b
        c = c if c > d else d
        e = e if e > f else f
        bounds[k] = _WHOLE_GAIN * a + _WHOLE_EXCESS * (c if c > e else e)


@part()
def true_peak(x: Any, peak: Any, work: Any) -> np.float32:
    """Highest absolute value of *x*, shape (REACH + n,), on a grid of 16 points a sample, or *peak* if
    that is higher.

    The grid is calculated only around samples where it could be the highest of all: in music around a few in
    a hundred, in white noise around all. The result is the same within 0.0003 dB.
    """
    sizes, bends, bounds = work[7:]
    n = x.size - REACH
    peak = max(peak, highest(x[_BEFORE : x.size - _BEFORE - 1], work[5]))
    groups = (n + _GROUP - 1) // _GROUP
    _sizes_and_bends(x, sizes, bends)
    _shrink(sizes, work[0])
    _shrink(bends, work[0])
    _bound(sizes, bends, bounds[:groups])
    at = 0
    while at < groups:
        if bounds[at] <= peak:
            at += 1
            continue
        first, last = at, at
        while at < groups and at - last < _APART:
            if bounds[at] > peak:
                last = at
            at += 1
        peak = _peak_around(x[first * _GROUP : min((last + 1) * _GROUP, n) + REACH], peak, work)
    return peak


@part(fastmath=_FLAGS)
def _bound_between(tops: Any, curves: Any, bounds: Any) -> None:
    """bounds[i]: the level that no point of the grid of 16 beside tops[i + 1] exceeds where that is the
    higher end, see interpolation.LAST_TWO_EXCESS."""
    for i in range(bounds.size):
        a, b, c = curves[i], curves[i + 1], curves[i + 2]
        a = a if a > b else b
        bounds[i] = tops[i + 1] + _EXCESS * (a if a > c else c)


@part()
def _peak_around(x: Any, peak: Any, work: Any) -> np.float32:
    """As :func:`true_peak`, on four points a sample throughout, and on 16 where it could be the highest."""
    mids, first, third, tops, curves, folded, around = work[:7]
    count = x.size - 2 * _PAIRS - 3
    whole = x[_PAIRS - 1 :]
    mids = mids[: count + 4]
    first, third, tops, curves = first[:count], third[:count], tops[:count], curves[: count - 1]
    _midpoints(x, mids)
    _quarters(whole, mids, first)
    _quarters(mids, whole[1:], third)
    points = (whole[2:], first, mids[2:], third)
    _tops(points, tops)
    _curves(points, curves)
    peak = max(peak, highest(tops, folded))
    bounds = work[7][: count - 3]
    _bound_between(tops, curves, bounds)
    for i in range(bounds.size):
        if bounds[i] > peak:
            peak = _between(points, i + 1, peak, around)
    return peak


def workspace() -> Workspace:
    """Scratch for :func:`true_peak`, for up to REACH + SEGMENT samples at a time."""
    longest = REACH + SEGMENT
    return (
        np.empty(longest, np.float32),
        np.empty(longest, np.float32),
        np.empty(longest, np.float32),
        np.empty(longest, np.float32),
        np.empty(longest, np.float32),
        np.empty(longest, np.int32),
        np.empty(12, np.float32),
        np.empty(_MOST * _GROUP, np.float32),
        np.empty(_MOST * _GROUP, np.float32),
        np.empty(SEGMENT // _GROUP, np.float32),
    )
