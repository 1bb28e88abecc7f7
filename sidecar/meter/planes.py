"""Frames become planes: one row of float32 a channel, behind the samples that interpolators still need."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.interpolation import REACH
from sidecar.native.kernels import kernel, part

SEGMENT = 1024
"""Frames that are taken through all steps at once, while they are near at hand."""
ABSURD = np.float32(1e9)
"""+180 dBFS: no converter gives it, and from here on float32 could overflow in the interpolators."""
_SIGN = np.int32(0x7FFFFFFF)


@part()
def copy_row(source: Any, out: Any) -> None:
    """Copies *source* to the front of *out*. A loop, as in :func:`clear`: slices that are assigned compile
    for seconds, because of the messages of their errors."""
    for i in range(source.size):
        out[i] = source[i]


@part()
def clear(row: Any) -> None:
    """Sets all of *row* to zero."""
    for i in range(row.size):
        row[i] = 0


@part()
def highest(x: Any, work: Any) -> np.float32:
    """Largest absolute value of float32 *x*, shape (n,), n ≥ 1; infinite or NaN if there is any of these.

    Without their signs, floats are in the order of the integers with the same bits. Folding the row
    in half vectorises, a running maximum does not. work: scratch, int32, shape (at least n / 2,)
    and 1.
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


@part()
def _split_pair(flat: Any, gain: np.float32, a: Any, b: Any) -> None:
    """Two channels at once, which vectorises."""
    for i in range(a.size):
        a[i] = np.float32(flat[2 * i]) * gain
        b[i] = np.float32(flat[2 * i + 1]) * gain


@part()
def _silence_bad(x: Any) -> int:
    """Silences NaN, infinite and absurd samples, and returns how many there were."""
    bad = 0
    for i in range(x.size):
        if not abs(x[i]) < ABSURD:
            x[i] = np.float32(0.0)
            bad += 1
    return bad


def take_in(
    frames: NDArray[Any], gain: np.float32, planes: NDArray[np.float32], peaks: NDArray[np.float32]
) -> int:
    """Copies *frames*, shape (n, channels), contiguous, times *gain* into planes[:channels, REACH:].

    peaks: out, shape (channels,), linear sample peaks. Returns the count of bad samples, which are NaN,
    infinite or absurd; such a sample becomes silence.
    """
    return _take_in(frames, frames.reshape(-1), gain, planes, peaks, np.empty(SEGMENT // 2, np.int32))


@kernel
def _take_in(frames: Any, flat: Any, gain: np.float32, planes: Any, peaks: Any, work: Any) -> int:
    channels = frames.shape[1]
    for c in range(channels):
        peaks[c] = np.float32(0.0)
    bad = 0
    for start in range(0, frames.shape[0], SEGMENT):
        stop = min(start + SEGMENT, frames.shape[0])
        if channels == 2:
            pair = planes[0, REACH + start : REACH + stop], planes[1, REACH + start : REACH + stop]
            _split_pair(flat[2 * start : 2 * stop], gain, pair[0], pair[1])
        for c in range(channels):
            x = planes[c, REACH + start : REACH + stop]
            if channels != 2:
                for i in range(x.size):
                    x[i] = np.float32(frames[start + i, c]) * gain
            peak = highest(x, work)
            if not peak < ABSURD:
                bad += _silence_bad(x)
                peak = highest(x, work)
            peaks[c] = max(peaks[c], peak)
    return bad


def fresh_planes(channels: int, frames: int) -> NDArray[np.float32]:
    """Zeros, shape (rows, REACH + frames): what came before, then room for so many frames. There is one row
    more where the channels are odd, since they are weighted in pairs."""
    return np.zeros((channels + channels % 2, REACH + frames), np.float32)
