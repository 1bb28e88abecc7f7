"""Any sample rate to the one that the detector needs, block by block, aligned in time to the sample."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

DETECTOR_RATE_HZ = 16_000

_GROUP = 16
"""Output samples that are made by one product of matrices: small enough that libraries start no threads."""
_CROSSINGS = 16
"""Zero crossings of the windowed sinc to each side. With the window below −0.2 dB at 7 kHz, −29 dB at 8.3 kHz
and −65 dB from 9 kHz on, measured: speech lies below, and what folds back lies above 7 kHz."""
_BETA = 6.0
"""Of the Kaiser window."""
_PASS_SHARE = 0.96
"""Of half the lower rate, where the sinc is cut off."""
_MOST_ROWS = 100


class Resampler:
    """A mono signal at 16 kHz.

    Output sample *n* lies at the time n / 16000 s of the input: the filter's delay is taken out, so output
    comes as much later as the filter reaches ahead, a millisecond or two. What is at 16 kHz passes unchanged.
    """

    def __init__(self, rate_hz: int) -> None:
        self._passes_through = rate_hz == DETECTOR_RATE_HZ
        common = math.gcd(rate_hz, DETECTOR_RATE_HZ)
        up, self._down = DETECTOR_RATE_HZ // common, rate_hz // common
        repeats = _GROUP // math.gcd(up, _GROUP)
        up, self._down = up * repeats, self._down * repeats
        step = rate_hz / DETECTOR_RATE_HZ
        cutoff = min(1.0, 1.0 / step) * _PASS_SHARE
        self._reach = math.ceil(_CROSSINGS / cutoff)
        self._width = math.ceil(_GROUP * step) + 2 * self._reach + 1
        self._groups = [
            _group(first * step, step, self._reach, self._width, cutoff) for first in range(0, up, _GROUP)
        ]
        self._starts = [math.floor(first * step) for first in range(0, up, _GROUP)]
        self._held = np.zeros(self._reach, np.float32)

    @property
    def tail(self) -> int:
        """How much silence pushes out all that is held of the input, samples."""
        return self._down + self._width

    def push(self, samples: Samples) -> Samples:
        """Returns what can be had of the output after *samples*, shape (n,) at the input's rate."""
        if self._passes_through:
            return samples
        held = np.concatenate([self._held, samples])
        last = self._starts[-1] + self._width - self._down
        rows = max(0, (len(held) - last) // self._down)
        self._held = held[rows * self._down :]
        return np.concatenate(
            [self._rows(held, row, min(_MOST_ROWS, rows - row)) for row in range(0, rows, _MOST_ROWS)]
            or [np.empty(0, np.float32)]
        )

    def _rows(self, held: Samples, first: int, rows: int) -> Samples:
        out = np.empty((rows, len(self._groups), _GROUP), np.float32)
        for group, (start, matrix) in enumerate(zip(self._starts, self._groups, strict=True)):
            begin = first * self._down + start
            windows = np.lib.stride_tricks.as_strided(
                held[begin:],
                (rows, self._width),
                (self._down * held.itemsize, held.itemsize),
                writeable=False,
            )
            out[:, group] = np.ascontiguousarray(windows) @ matrix
        return out.ravel()


def _group(first: float, step: float, reach: int, width: int, cutoff: float) -> Samples:
    """The product that makes the samples of a group of its inputs, shape (width, group)."""
    times = first - math.floor(first) + reach + step * np.arange(_GROUP)
    distance = np.arange(width)[:, np.newaxis] - times
    window = np.i0(_BETA * np.sqrt(np.maximum(0.0, 1.0 - (distance / (reach + 1)) ** 2))) / np.i0(_BETA)
    taps = np.where(np.abs(distance) <= reach + 1, np.sinc(cutoff * distance) * window, 0.0)
    return np.ascontiguousarray(taps / taps.sum(axis=0), dtype=np.float32)
