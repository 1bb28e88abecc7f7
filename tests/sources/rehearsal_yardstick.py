"""Loudness and true peak of a finished programme, written with scipy alone from the published documents."""

from __future__ import annotations

import numpy as np
from scipy import signal

RATE_HZ = 48_000

K_WEIGHTING = np.array(
    [
        [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621],
    ]
)
"""ITU-R BS.1770-5 Annex 1, Tables 1 and 2."""


def lufs(power):
    """BS.1770-5 Annex 1, equation 2."""
    return -0.691 + 10.0 * np.log10(np.maximum(power, 1e-12))


def powers(frames):
    """K-weighted power of each 100 ms, channels summed: shape (blocks,)."""
    weighted = signal.sosfilt(K_WEIGHTING, np.ascontiguousarray(frames.T))
    return np.square(weighted).sum(axis=0).reshape(-1, RATE_HZ // 10).mean(axis=1)


def windowed(power, blocks):
    """Mean power of every window of so many blocks; window i ends with block i + blocks − 1."""
    return np.convolve(power, np.full(blocks, 1.0 / blocks), mode="valid")


def short_term(power):
    """Tech 3341 §2.2: 3 s, ungated; reading i ends at 3 + i / 10 seconds."""
    return lufs(windowed(power, 30))


def integrated(power):
    """BS.1770-5 Annex 1: 400 ms blocks, absolute gate −70, relative gate −10."""
    gating = windowed(power, 4)
    heard = gating[lufs(gating) > -70.0]
    return lufs(heard[lufs(heard) > lufs(heard.mean()) - 10.0].mean())


def loudness_range(power):
    """Tech 3342 §3.1 and §5: P95 − P10 of the short-term above −70 and above the mean − 20."""
    spans = windowed(power, 30)
    heard = spans[lufs(spans) >= -70.0]
    history = np.sort(lufs(heard[lufs(heard) >= lufs(heard.mean()) - 20.0]))
    low, high = (history[round((len(history) - 1) * p)] for p in (0.10, 0.95))
    return high - low


def true_peaks(frames):
    """dBTP of each 100 ms: BS.1770-5 Annex 2, 4 times oversampled (scipy's own low-pass)."""
    peaks = np.abs(signal.resample_poly(np.ascontiguousarray(frames.T), 4, 1, axis=1)).max(axis=0)
    return 20.0 * np.log10(np.maximum(peaks.reshape(-1, 4 * RATE_HZ // 10).max(axis=1), 1e-9))
