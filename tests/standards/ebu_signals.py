"""Test signals built from their published descriptions: EBU Tech 3341 Table 1, Tech 3342 Table 1.

Levels are dBFS of the peak of each channel. Every published duration is a multiple of 10 ms, and
1 kHz fits 10 ms a whole number of times at all rates used here, so the tones join without a step.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Frames = NDArray[np.floating]
Level = float | tuple[float, ...] | None
"""dBFS for all channels, dBFS one a channel, or None for silence."""
Segments = list[tuple[float, Level]]
"""(seconds, level) one after the other."""

RATES_HZ = (44_100, 48_000, 96_000, 192_000)

INTEGRATED_ROWS: dict[int, Segments] = {
    3: [(10, -36.0), (60, -23.0), (10, -36.0)],
    4: [(10, -72.0), (10, -36.0), (60, -23.0), (10, -36.0), (10, -72.0)],
    5: [(20, -26.0), (20.1, -20.0), (20, -26.0)],
    6: [(20, (-28.0, -28.0, -24.0, -30.0, -30.0))],
}
"""Tech 3341 Table 1: I = −23.0 LUFS. Row 6 is 5.0, the others stereo."""

SHORT_TERM_ROW_9: Segments = [(1.34, -20.0), (1.66, -30.0)] * 5
MOMENTARY_ROW_12: Segments = [(0.18, -20.0), (0.22, -30.0)] * 25

TRUE_PEAK_ROWS = {
    15: (4, 0.50, 0.0, -6.0),
    16: (4, 0.50, 45.0, -6.0),
    17: (6, 0.50, 60.0, -6.0),
    18: (8, 0.50, 67.5, -6.0),
    19: (4, 1.41, 45.0, 3.0),
}
"""Tech 3341 Table 1: divisor of the rate, fraction of full scale, phase in degrees, dBTP."""

RANGE_ROWS: dict[int, tuple[tuple[float, ...], float]] = {
    1: ((-20.0, -30.0), 10.0),
    2: ((-20.0, -15.0), 5.0),
    3: ((-40.0, -20.0), 20.0),
    4: ((-50.0, -35.0, -20.0, -35.0, -50.0), 15.0),
}
"""Tech 3342 Table 1: levels of tones of 20 s each, and the loudness range in LU."""

LIVE_BLOCKS_S = (0.0107, 0.0233, 0.0371, 0.0493)
"""What a sound system hands over: neither the same length each time nor a divisor of any window."""


@cache
def _second(rate_hz: int) -> Frames:
    """One second of 1 kHz at 0 dBFS, shape (rate_hz, 1)."""
    cycles = np.sin(2 * np.pi * 1000.0 * np.arange(rate_hz // 100) / rate_hz)
    tiled: Frames = np.tile(cycles, 100)[:, np.newaxis].astype(np.float32)
    return tiled


def tones(rate_hz: int, segments: Segments, channels: int = 2) -> Iterator[Frames]:
    """1 kHz tones and silences as float32 frames (n, channels) of at most a second each."""
    for seconds, level in segments:
        level_dbfs = -np.inf if level is None else level
        gains = np.broadcast_to(10.0 ** (np.asarray(level_dbfs) / 20.0), channels).astype(np.float32)
        frames = round(seconds * rate_hz)
        for start in range(0, frames, rate_hz):
            yield _second(rate_hz)[: frames - start] * gains


def layout_of(row: int) -> tuple[str, int]:
    """(layout, channels) of a row of Tech 3341 Table 1."""
    return ("5.0", 5) if row == 6 else ("stereo", 2)


def range_segments(row: int) -> Segments:
    """A row of Tech 3342 Table 1."""
    levels, _ = RANGE_ROWS[row]
    return [(20.0, level) for level in levels]


def true_peak_sine(rate_hz: int, row: int) -> Frames:
    """Rows 15–19 of Tech 3341 Table 1, shape (n,), with fades of 10 ms."""
    divisor, amplitude, phase_deg, _ = TRUE_PEAK_ROWS[row]
    return amplitude * faded(sine(rate_hz, rate_hz / divisor, 0.2, phase_deg), rate_hz)


def sine(rate_hz: int, frequency_hz: float, seconds: float, phase_deg: float = 0.0) -> Frames:
    """A sine of full scale, shape (n,)."""
    n = np.arange(round(seconds * rate_hz))
    samples: Frames = np.sin(2 * np.pi * frequency_hz / rate_hz * n + np.radians(phase_deg))
    return samples


def faded(samples: Frames, rate_hz: int) -> Frames:
    """The samples with a raised-cosine fade of 10 ms at either end."""
    n = rate_hz // 100
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(n) / n)
    faded_samples = samples.copy()
    faded_samples[:n] *= ramp
    faded_samples[-n:] *= ramp[::-1]
    return faded_samples


def hidden_period(rate_hz: int, offset: int) -> Frames:
    """Tech 3341 Table 1 rows 20–23, shape (n, 2): one full-scale period of fs/4 inside a half-scale fs/6.

    Built at four times the rate, filtered against aliases, then every fourth sample from ``offset``.
    The filter is ours to choose; 0.4375 fs (21 kHz at 48 kHz) keeps it flat past fs/4.
    """
    base = 0.5 * np.sin(2 * np.pi * np.arange(rate_hz // 60 * 24) / 24)
    period = np.sin(2 * np.pi * np.arange(16) / 16)
    built = faded(np.concatenate([base, period, base]), 4 * rate_hz)
    low_pass = signal.firwin(255, 0.4375 * rate_hz, fs=4 * rate_hz, window=("kaiser", 8.0))
    samples = signal.fftconvolve(built, low_pass)[offset::4]
    return np.column_stack([samples, samples])


def cut(blocks: Iterable[Frames], sizes: Iterable[int]) -> Iterator[Frames]:
    """The same frames in other block sizes; a block is never joined to the next one."""
    size = itertools.cycle(sizes)
    for block in blocks:
        start = 0
        while start < len(block):
            end = start + next(size)
            yield block[start:end]
            start = end


def live(blocks: Iterable[Frames], rate_hz: int) -> Iterator[Frames]:
    """The frames as a sound system would hand them over: odd blocks of about 10–50 ms."""
    return cut(blocks, [int(seconds * rate_hz) | 1 for seconds in LIVE_BLOCKS_S])
