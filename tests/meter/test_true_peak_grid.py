"""What is left out in looking for a peak is never the peak: scipy calculates the whole grid of 16 points.

The taps are the meter's own here; how near the grid comes to the band-limited signal (ITU-R BS.1770-5
Annex 2) is checked in tests/standards/test_true_peak_interpolation.py.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from sidecar.meter import Meter
from sidecar.meter.interpolation import STAGES

RATE_HZ = 48_000
RIPPLE_DB = 0.0004


def half_band(pairs, passband):
    """Taps that give the value midway between two samples; shape (pairs,), nearest pair first.

    passband: highest frequency over the incoming rate for which the error is kept smallest.
    Designed by Lawson's reweighted least squares, which ends at the equiripple filter.
    """
    f = np.linspace(0.0, passband, 400)
    cosines = 2.0 * np.cos(2.0 * np.pi * np.outer(f, np.arange(pairs) + 0.5))
    weights = np.ones(f.size)
    for _ in range(60):
        root = np.sqrt(weights)
        taps = np.linalg.lstsq(cosines * root[:, None], root, rcond=None)[0]
        weights *= np.abs(cosines @ taps - 1.0) + 1e-12
        weights /= weights.sum()
    return taps


def test_the_taps_are_those_of_the_design():
    """20 kHz must pass (R 128 m), at 44.1 kHz, the lowest studio rate; each doubling halves the band."""
    for stage, taps in enumerate(STAGES):
        assert taps == pytest.approx(half_band(taps.size, 20_000.0 / 44_100.0 / 2**stage), abs=1e-6)


def doubled(x, taps):
    """Twice the rate by the half-band filter, silence on either side."""
    response = np.zeros(4 * taps.size - 1)
    centre = response.size // 2
    response[centre] = 1.0
    response[centre + 1 :: 2] = response[centre - 1 :: -2] = taps
    return signal.upfirdn(response, x, up=2)


def grid_peak_db(samples):
    for taps in STAGES:
        samples = doubled(samples, taps.astype(np.float64))
    return 20 * np.log10(np.abs(samples).max())


def read_db(samples, sizes):
    meter = Meter(RATE_HZ, "mono")
    at = 0
    while at < len(samples):
        for size in sizes:
            meter.push(samples[at : at + size, None])
            at += size
    meter.finish()
    return meter.reading().max_true_peak


kinds = {
    "noise": lambda random, t: random.standard_normal(t.size),
    "limited": lambda random, t: np.tanh(3 * random.standard_normal(t.size)),
    "dark": lambda random, t: signal.lfilter([1], [1, -0.97], random.standard_normal(t.size)),
    "clicks": lambda random, t: (random.random(t.size) > 0.995) * random.standard_normal(t.size),
    "tone": lambda random, t: np.sin(np.pi * random.random() * t + 7 * random.random()),
    "quarter": lambda random, t: np.sin(np.pi * (t / 2 + 0.25 + 1e-4 * t)),
    "level": lambda random, t: np.full(t.size, 0.7) + 1e-3 * random.standard_normal(t.size),
    "square": lambda random, t: np.sign(np.sin(0.01 * t)),
}


@pytest.mark.slow
@settings(derandomize=True, deadline=None, max_examples=80)
@given(
    st.sampled_from(sorted(kinds)),
    st.integers(0, 2**31),
    st.lists(st.integers(1, 3000), min_size=1, max_size=4),
)
def test_the_highest_point_of_the_grid_is_found(kind, seed, sizes):
    """For noise, clicks, tones and plateaus, in blocks of any size."""
    random = np.random.default_rng(seed)
    samples = kinds[kind](random, np.arange(6_000.0)).astype(np.float32)
    samples *= np.hanning(samples.size).astype(np.float32)[:: random.choice([-1, 1])] if seed % 2 else 1.0

    assert read_db(samples, [*sizes, 500]) == pytest.approx(grid_peak_db(samples), abs=RIPPLE_DB)
