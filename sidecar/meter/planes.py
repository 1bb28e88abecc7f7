"""Frames become planes: one row of float32 a channel, behind the samples that interpolators still need."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sidecar.meter.interpolation import REACH

ABSURD = np.float32(1e9)
"""+180 dBFS: no converter gives it, and from here on float32 could overflow in the interpolators."""
_SIGN = np.int32(0x7FFFFFFF)


@njit(nogil=True, cache=True)
def highest(x: Any, work: Any) -> np.float32:
    """Largest absolute value of float32 *x*, shape (n,), n ≥ 1; infinite or NaN if there is any of these.

    Without their signs, floats are in the order of the integers with the same bits. Folding the row
    in half vectorises, a running maximum does not. work: scratch, int32, shape (at least n / 2,).
    """
    bits = x.view(np.int32)
    half = bits.size // 2
    peak = bits[bits.size - 1] & _SIGN
    low, high = bits[:half], bits[half : 2 * half]
    for i in range(half):
        a, b = low[i] & _SIGN, high[i] & _SIGN
        work[i] = a if a > b else b
    while half > 16:
        peak = max(peak, work[half - 1])
        half //= 2
        high = work[half : 2 * half]
        for i in range(half):
            a, b = work[i], high[i]
            work[i] = a if a > b else b
    for i in range(half):
        peak = max(peak, work[i])
    work[0] = peak
    return work[:1].view(np.float32)[0]


@njit(nogil=True, cache=True)
def _split_pair(flat: Any, gain: np.float32, a: Any, b: Any) -> None:
    """Two channels at once, which vectorises."""
    for i in range(a.size):
        a[i] = np.float32(flat[2 * i]) * gain
        b[i] = np.float32(flat[2 * i + 1]) * gain


@njit(nogil=True, cache=True)
def _silence_bad(x: Any) -> int:
    """Silences NaN, infinite and absurd samples, and returns how many there were."""
    bad = 0
    for i in range(x.size):
        if not abs(x[i]) < ABSURD:
            x[i] = np.float32(0.0)
            bad += 1
    return bad


@njit(nogil=True, cache=True)
def take_in(frames: Any, gain: np.float32, planes: Any, peaks: Any) -> int:
    """Copies *frames*, shape (n, channels), n ≥ 1, times *gain* into planes[:channels, REACH:].

    peaks: out, shape (channels,), linear sample peaks. Returns the count of bad samples, which are NaN,
    infinite or absurd; such a sample becomes silence.
    """
    n, channels = frames.shape
    work = np.empty(n // 2 + 1, np.int32)
    bad = 0
    if channels == 2:
        _split_pair(frames.reshape(2 * n), gain, planes[0, REACH:], planes[1, REACH:])
    for c in range(channels):
        x = planes[c, REACH:]
        if channels != 2:
            for i in range(n):
                x[i] = np.float32(frames[i, c]) * gain
        peaks[c] = highest(x, work)
        if not peaks[c] < ABSURD:
            bad += _silence_bad(x)
            peaks[c] = highest(x, work)
    return bad


def fresh_planes(history: NDArray[np.float32], frames: int) -> NDArray[np.float32]:
    """Planes with *history*, shape (channels, REACH), and room for so many frames; one row more where
    the channels are odd, since they are weighted in pairs."""
    channels = history.shape[0]
    planes = np.empty((channels + channels % 2, REACH + frames), np.float32)
    planes[:channels, :REACH] = history
    planes[channels:] = 0.0
    return planes
