"""ITU-R BS.1770-5 Annex 1: K-weighting, its response at other rates, and the anchor of the scale."""

import math

import numpy as np
import pytest
from ebu_signals import RATES_HZ, sine
from scipy import signal
from whole_file import K_WEIGHTING_48_KHZ

from sidecar.meter import Meter
from sidecar.meter.weighting import k_weighting

RESPONSE_DB = {
    20.0: -13.275,
    40.0: -5.567,
    63.0: -2.664,
    100.0: -1.134,
    200.0: -0.265,
    500.0: 0.043,
    997.0: 0.691,
    1000.0: 0.6977,
    2000.0: 3.071,
    4000.0: 3.968,
    10000.0: 4.042,
}
"""Gain of the cascade printed in Tables 1 and 2 (calculated from those digits)."""

TOLERANCES_DB = {
    **dict.fromkeys((8_000, 11_025, 16_000, 22_050, 32_000), 0.05),
    **dict.fromkeys((44_100, 48_000, 88_200, 96_000, 176_400, 192_000, 384_000), 0.01),
}
"""Largest departure from the 48 kHz response, up to 20 kHz or 0.4 of the rate. The Recommendation asks
for the same response and prints no figure. From 44.1 kHz a plain bilinear redesign reaches 0.01 dB, while
high-pass zeros carried over without their gain cost 0.03 dB at 192 kHz; at 8 kHz, where the shelf comes
near to the Nyquist frequency, only a fitted one stays within 0.05 dB (bilinear: 0.29 dB)."""


def gain_db(sections, frequencies_hz, rate_hz):
    _, response = signal.sosfreqz(sections, frequencies_hz, fs=rate_hz)
    return 20.0 * np.log10(np.abs(response))


def test_the_published_digits_are_in_use():
    """At 48 kHz the sections are, digit for digit and in order, Tables 1 and 2."""
    np.testing.assert_array_equal(k_weighting(48_000), K_WEIGHTING_48_KHZ)


def test_the_digits_give_the_gains_they_are_known_for():
    """The digits typed here are right: their gains are the known ones, 0.691 dB at 997 Hz among them."""
    gains = gain_db(K_WEIGHTING_48_KHZ, list(RESPONSE_DB), 48_000)

    assert list(gains) == pytest.approx(list(RESPONSE_DB.values()), abs=0.001)


@pytest.mark.parametrize(("rate_hz", "tolerance_db"), TOLERANCES_DB.items())
def test_the_response_is_that_of_48_khz_at_every_rate(rate_hz, tolerance_db):
    """Annex 1: other rates need coefficients that give the same frequency response."""
    frequencies_hz = np.geomspace(10.0, min(20_000.0, 0.4 * rate_hz), 2000)

    expected = gain_db(K_WEIGHTING_48_KHZ, frequencies_hz, 48_000)
    actual = gain_db(k_weighting(rate_hz), frequencies_hz, rate_hz)

    np.testing.assert_allclose(actual, expected, rtol=0.0, atol=tolerance_db)


@pytest.mark.parametrize("rate_hz", TOLERANCES_DB)
def test_the_weighting_is_stable(rate_hz):
    """All poles lie inside the unit circle at every rate."""
    _, poles, _ = signal.sos2zpk(k_weighting(rate_hz))

    assert np.max(np.abs(poles)) < 1.0


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("frequency_hz", RESPONSE_DB)
def test_the_meter_weighs_tones_by_that_response(rate_hz, frequency_hz):
    """A full-scale mono tone reads −0.691 − 3.0103 dB plus the K gain of its frequency."""
    meter = Meter(sample_rate=rate_hz, layout="mono")
    meter.push(sine(rate_hz, frequency_hz, 5.0)[:, np.newaxis])  # 3 s hold whole periods of all of these

    expected = -0.691 + 10 * math.log10(0.5) + RESPONSE_DB[frequency_hz]
    assert meter.reading().short_term == pytest.approx(expected, abs=0.012)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("channel", ["left", "right", "centre"])
def test_the_anchor_of_the_scale(rate_hz, channel):
    """Annex 1: a 0 dBFS sine of 997 Hz in L, R or C alone reads −3.01 LKFS."""
    frames = np.zeros((4 * rate_hz, 5), np.float32)
    frames[:, ["left", "right", "centre"].index(channel)] = sine(rate_hz, 997.0, 4.0)
    meter = Meter(sample_rate=rate_hz, layout="5.0")
    meter.push(frames)

    assert meter.reading().short_term == pytest.approx(-3.01, abs=0.01)
    assert meter.reading().integrated == pytest.approx(-3.01, abs=0.01)
