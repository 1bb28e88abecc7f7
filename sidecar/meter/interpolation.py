"""Half-band interpolators for true peak (ITU-R BS.1770-5 Annex 2), one for each doubling of the rate.

The rate is doubled four times, so that peaks are looked for on a grid of 16 points a sample. By
Attachment 1 to Annex 2 a peak at 0.45 of the sample rate is then under-read by at most 0.034 dB;
four points a sample, the least that Annex 2 asks for at 48 kHz, would allow 0.554 dB.
"""

from __future__ import annotations

from functools import reduce

import numpy as np
from numpy.typing import NDArray


def _taps(*taps: float) -> NDArray[np.float32]:
    return np.array(taps, np.float32)


STAGES = (
    _taps(
        0.6354255,
        -0.20864442,
        0.121458896,
        -0.08288109,
        0.06061375,
        -0.045868263,
        0.03528163,
        -0.027289594,
        0.02107014,
        -0.01614316,
        0.012210615,
        -0.009068427,
        0.0065733814,
        -0.0046126344,
        0.0030995286,
        -0.003060452,
    ),
    _taps(0.6085943, -0.14003766, 0.03743493, -0.006092695),
    _taps(0.5896237, -0.10336267, 0.013749651),
    _taps(0.56398445, -0.064008296),
)
"""The four interpolators, in the order in which they double the rate: taps that give the value midway between
two samples, nearest pair first; tap k weighs the samples k + 1/2 to the left and to the right. Ripple 0.032,
0.003, 0.0003 and 0.0006 dB up to 20 kHz at 44.1 kHz (R 128 m); each sees half the band of the one before, so
fewer will do. Equiripple by Lawson's reweighted least squares, as designed in
tests/meter/test_true_peak_grid.py."""


def _cascaded(response: NDArray[np.float64], taps: NDArray[np.float32]) -> NDArray[np.float64]:
    """The response of doublings and one more behind them."""
    doubling = np.zeros(4 * taps.size - 1)
    centre = doubling.size // 2
    doubling[centre] = 1.0
    doubling[centre + 1 :: 2] = taps
    doubling[centre - 1 :: -2] = taps
    spread = np.zeros(2 * response.size - 1)
    spread[::2] = response
    return np.convolve(spread, doubling)


def _polyphase(response: NDArray[np.float64], points: int) -> NDArray[np.float64]:
    """The taps of doublings in one go; shape (points − 1, 2 · support): row r gives the point (r + 1)/points
    of the way from the middle two of so many samples."""
    half = response.size // 2
    support = (half + points - 1) // points
    places = np.arange(1, points)[:, None] - points * np.arange(1 - support, support + 1)
    inside = np.abs(places) <= half
    return np.where(inside, response[np.where(inside, places, 0) + half], 0.0)


def _excess(taps: NDArray[np.floating]) -> float:
    """How far an interpolated value can exceed the larger of the two samples that it lies between, over the
    largest second difference of the samples in reach.

    Any set of taps is a point on the chord between the middle two samples, and a weighted sum of
    second differences, whose weights are found by summing up what is left of the taps twice. That the
    chord itself may lie 0.0003 dB too high, the ripple, is let go.
    """
    curves = []
    places = np.arange(taps.shape[1]) - (taps.shape[1] // 2 - 1)
    for row in taps.astype(np.float64):
        towards = row @ places
        left = row - (row.sum() - towards) * (places == 0) - towards * (places == 1)
        curves.append(np.abs(np.cumsum(np.cumsum(left))).sum())
    return float(max(curves))


LAST_TWO = _polyphase(reduce(_cascaded, STAGES[2:], np.ones(1)), 4).astype(np.float32)
"""The last two in one: shape (3, 8), the three points between the middle two of eight on the 4-point grid."""

LAST_TWO_EXCESS = _excess(LAST_TWO)
"""How far a value on the 16-point grid can exceed those on the 4-point grid around it, see there."""

_ALL_FOUR = _polyphase(reduce(_cascaded, STAGES, np.ones(1)), 2 ** len(STAGES))

ALL_FOUR_GAIN = float(np.abs(_ALL_FOUR.sum(axis=1)).max())
ALL_FOUR_EXCESS = _excess(_ALL_FOUR)
"""A value on the 16-point grid is at most the first times the larger of the two samples that it lies between,
and the second times the largest second difference of the samples in reach. The first is the gain at 0 Hz."""

REACH = 40
"""Samples of history that the four stages need between them: 31 + 7/2 + 5/4 + 3/8, rounded up."""
