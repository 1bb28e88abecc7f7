"""What the newest frames are like, channel by channel, whether the measurement is paused or not."""

from __future__ import annotations

import math
from collections import deque
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.grid import Grid
from sidecar.model.readings import BLOCK_S, MOMENTARY_S, SHORT_TERM_S, SILENCE
from sidecar.model.units import decibel

_BLOCKS_PER_SECOND = round(1.0 / BLOCK_S)
_MOMENTARY_BLOCKS = round(MOMENTARY_S / BLOCK_S)
_SHORT_TERM_BLOCKS = round(SHORT_TERM_S / BLOCK_S)
CORRELATION_BLOCKS = _BLOCKS_PER_SECOND
"""1 s. Common practice, no source: long enough to be read, short enough to show a fault while it is heard."""
_NO_PRODUCTS = 0.0, 0.0, 0.0
_FLOOR = 1e-12
"""Mean square, −120 dBFS: below it nothing is worth comparing."""


class LiveChannels:
    """Peaks of the last 0.4 s and 3 s, and how alike the first two channels are.

    Correlation is the mean product of both over the root of the product of their mean squares, unweighted;
    the loss in mono is the power of half their sum over the mean of their powers. What is kept are plain
    numbers, a few tens of them, which arrays would take ten times as long to add up.
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._grid = Grid(rate_hz, _BLOCKS_PER_SECOND)
        self._is_pair = channels > 1
        self._peaks: deque[list[float]] = deque(maxlen=_MOMENTARY_BLOCKS - 1)
        self._highest: deque[float] = deque(maxlen=_SHORT_TERM_BLOCKS - 1)
        self._products: deque[tuple[float, float, float, int]] = deque(maxlen=_SHORT_TERM_BLOCKS)
        """Of each block the sums of left², right² and left · right, and its frames."""
        self._open = _NO_PRODUCTS

    def push(self, samples: NDArray[np.float32], block_peaks: NDArray[np.float32]) -> None:
        """Adds frames.

        Parameters
        ----------
        samples
            Shape (channels, n), full scale 1.0.
        block_peaks
            Shape (blocks, channels), linear true peaks of the 100 ms blocks that got full with them.
        """
        peaks: list[list[float]] = block_peaks.tolist()
        self._peaks.extend(peaks)
        self._highest.extend(map(max, peaks))
        if not self._is_pair:
            return
        left, right = samples[0], samples[1]
        ends, lengths = self._grid.advance(left.size)
        start = 0
        for end, length in zip(ends.tolist(), lengths.tolist(), strict=True):
            self._products.append((*_added(self._open, left[start:end], right[start:end]), length))
            self._open, start = _NO_PRODUCTS, end
        if start < left.size:
            self._open = _added(self._open, left[start:], right[start:])

    def channel_peaks(self, unfinished: NDArray[np.float32]) -> tuple[float, ...]:
        """dBTP of each channel over the last 0.4 s. unfinished: linear peaks of the block that is open."""
        return tuple(decibel(max(peaks)) for peaks in zip(*self._peaks, unfinished.tolist(), strict=True))

    def short_term_peak(self, unfinished: NDArray[np.float32]) -> float:
        """dBTP, the highest of all channels over the last 3 s."""
        return decibel(max(*self._highest, float(unfinished.max()), 0.0))

    def correlation(self) -> float | None:
        """−1 to +1 over the last second; None in mono, and where either channel is silent."""
        left, right, both = self._mean(CORRELATION_BLOCKS)
        if min(left, right) < _FLOOR:
            return None
        return min(max(both / math.sqrt(left * right), -1.0), 1.0)

    def mono_loss_db(self) -> float:
        """dB by which the mono sum is softer than the mean of both channels over the last 3 s: 0 for equal
        ones, 3 for unrelated ones, more where they cancel; 0 in mono and in silence, infinite where nothing
        is left."""
        left, right, both = self._mean(_SHORT_TERM_BLOCKS)
        power = 2.0 * (left + right)
        if power < _FLOOR:
            return 0.0
        left_over = (left + right + 2.0 * both) / power
        return -10.0 * math.log10(left_over) + 0.0 if left_over > _FLOOR else -SILENCE

    def _mean(self, blocks: int) -> tuple[float, float, float]:
        if not self._products:
            return 0.0, 0.0, 0.0
        newest = islice(self._products, max(0, len(self._products) - blocks), None)
        left, right, both, frames = map(sum, zip(*newest, strict=True))
        return left / frames, right / frames, both / frames


def _added(
    sums: tuple[float, float, float], left: NDArray[np.float32], right: NDArray[np.float32]
) -> tuple[float, float, float]:
    """Returns the sums of products with those of more samples."""
    return sums[0] + float(left @ left), sums[1] + float(right @ right), sums[2] + float(left @ right)
