"""Loudness of a whole file, straight from the published definitions: the yardstick for the meter.

Nothing is streamed, pruned or binned: every window is summed from its own samples' powers. The channel
weights are the caller's. Only the K-weighting of rates other than 48 kHz has to be handed in, since
BS.1770-5 prints digits for 48 kHz alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

Frames = NDArray[np.floating]

K_WEIGHTING_48_KHZ = np.array(
    [
        [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621],
    ]
)
"""ITU-R BS.1770-5 Annex 1, Tables 1 and 2, as second-order sections."""


def lufs(power: Frames) -> Frames:
    """BS.1770-5 Annex 1, equation 2."""
    with np.errstate(divide="ignore"):
        return -0.691 + 10.0 * np.log10(power)


@dataclass(frozen=True)
class WholeFile:
    """The definitions applied to frames (n, channels) that are all there at once."""

    frames: Frames
    rate_hz: int
    weights: tuple[float, ...]
    k_weighting: Frames

    @cached_property
    def _sums(self) -> Frames:
        """Running sum of the weighted powers of all channels, from 0 before the first frame."""
        weighted = signal.sosfilt(self.k_weighting, self.frames.astype(np.float64), axis=0)
        return np.concatenate([[0.0], np.cumsum(weighted**2 @ np.array(self.weights))])

    def windows(self, window_s: float, step_s: float | None) -> Frames:
        """LUFS of every complete window, every ``step_s`` (None: at every frame)."""
        width = round(window_s * self.rate_hz)
        last = len(self.frames) - width
        if last < 0:
            return np.array([])
        if step_s is None:
            starts = np.arange(last + 1)
        else:
            step = step_s * self.rate_hz
            starts = np.rint(np.arange(math.floor(last / step) + 1) * step).astype(int)
            starts = starts[starts <= last]
        powers = np.maximum(self._sums[starts + width] - self._sums[starts], 0.0) / width
        return lufs(powers)

    @property
    def integrated(self) -> float:
        """BS.1770-5 Annex 1, equations 3–7: 400 ms blocks each 100 ms, both gates open above (>)."""
        blocks = self.windows(0.4, 0.1)
        audible = blocks[blocks > -70.0]
        if not len(audible):
            return -math.inf
        kept = audible[audible > power_mean(audible) - 10.0]
        return power_mean(kept)

    @property
    def loudness_range(self) -> float:
        """Tech 3342 §3.1 and §5: 3 s windows each 100 ms, gates closed (≥), 10 % to 95 %."""
        return self.loudness_range_gated(0.0)

    def loudness_range_gated(self, shift_lu: float) -> float:
        """The same with the relative gate that much higher: a meter that counts in classes cannot say which
        side of it a value lies on that is nearer than a class is wide."""
        windows = self.windows(3.0, 0.1)
        audible = windows[windows >= -70.0]
        if not len(audible):
            return 0.0
        kept = np.sort(audible[audible >= power_mean(audible) - 20.0 + shift_lu])
        return float(percentile(kept, 95) - percentile(kept, 10))

    def followed_by_silence(self, seconds: float) -> WholeFile:
        """The same file with silence behind it (Tech 3342 §5 asks for 1.5 s before the last value)."""
        silence = np.zeros((round(seconds * self.rate_hz), self.frames.shape[1]))
        return WholeFile(np.concatenate([self.frames, silence]), self.rate_hz, self.weights, self.k_weighting)


def power_mean(loudness: Frames) -> float:
    """LUFS of the mean of the powers (never of the decibels)."""
    return float(10.0 * np.log10(np.mean(10.0 ** (loudness / 10.0))))


def percentile(ascending: Frames, percent: float) -> float:
    """Tech 3342 §5: the value at the 1-based index round((n − 1)·p/100 + 1).

    The listing of §5 is in Matlab, whose round takes halves away from zero (from memory).
    """
    index = math.floor((len(ascending) - 1) * percent / 100.0 + 1.0 + 0.5)
    return float(ascending[index - 1])


def true_peak(samples: Frames, ratio: int = 64) -> float:
    """dBTP of samples (n,) through band-limited interpolation of the whole: no filter of finite length.

    The interpolation is periodic, hence the guard of silence at either end.
    """
    guarded = np.pad(samples.astype(np.float64), 2048)
    guarded = np.pad(guarded, (0, fft.next_fast_len(len(guarded), real=True) - len(guarded)))
    return float(20.0 * np.log10(np.max(np.abs(signal.resample(guarded, ratio * len(guarded))))))
