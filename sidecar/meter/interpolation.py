"""Half-band interpolators for true peak (ITU-R BS.1770-5 Annex 2), one for each doubling of the rate.

The rate is doubled four times, so that peaks are looked for on a grid of 16 points a sample. By
Attachment 1 to Annex 2 a peak at 0.45 of the sample rate is then under-read by at most 0.034 dB;
four points a sample, the least that Annex 2 asks for at 48 kHz, would allow 0.554 dB.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_PASSBAND = 20_000.0 / 44_100.0
"""Highest frequency over sample rate that must pass: 20 kHz (R 128 m) at the lowest studio rate."""

_PAIRS = (16, 4, 3, 2)
"""Tap pairs of each stage: ripple 0.032, 0.003, 0.0003 and 0.0006 dB; each sees half the band of
the one before, so fewer will do."""


def half_band(pairs: int, passband: float) -> NDArray[np.float32]:
    """Taps that give the value midway between two samples; shape (pairs,), nearest pair first.

    passband: highest frequency over the incoming rate for which the error is kept smallest.
    The filter is symmetric: tap k weighs the samples k + 1/2 to the left and to the right.
    Designed by Lawson's reweighted least squares, which ends at the equiripple filter.
    """
    f = np.linspace(0.0, passband, 400)
    cosines = 2.0 * np.cos(2.0 * np.pi * np.outer(f, np.arange(pairs) + 0.5))
    weights: NDArray[np.float64] = np.ones(f.size)
    taps: NDArray[np.floating] = np.zeros(pairs)
    for _ in range(60):
        root = np.sqrt(weights)
        taps = np.linalg.lstsq(cosines * root[:, None], root, rcond=None)[0]
        weights *= np.abs(cosines @ taps - 1.0) + 1e-12
        weights /= weights.sum()
    return taps.astype(np.float32)


STAGES = tuple(half_band(pairs, _PASSBAND / 2**stage) for stage, pairs in enumerate(_PAIRS))
"""The four interpolators, in the order in which they double the rate."""

REACH = 40
"""Samples of history that the four stages need between them: 31 + 7/2 + 5/4 + 3/8, rounded up."""

LAST_TWO_GAIN = float(np.prod([2.0 * np.abs(taps).sum() for taps in STAGES[2:]]))
"""No value on the 16-point grid exceeds the largest one in reach on the 4-point grid times this."""
