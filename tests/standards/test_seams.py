"""Where a measurement is cut, by a pause or by dropped samples, nothing leaks across and no peak is made up.

Tech 3341 §2.2 asks for pause and continue; what a peak meter does at the seam is our reading of it.
"""

import numpy as np
import pytest

from sidecar.meter import Meter

RATE_HZ = 48_000


def test_what_plays_in_a_pause_leaks_into_nothing_that_follows():
    """Full-scale samples while paused leave no trace in peaks or maxima after it."""
    meter = Meter(RATE_HZ, "mono")
    meter.push(np.zeros((RATE_HZ, 1)))
    meter.pause()
    meter.push(np.ones((4800, 1)))
    meter.resume()
    meter.push(np.zeros((RATE_HZ, 1)))
    reading = meter.reading()

    assert -np.inf == reading.max_true_peak == reading.sample_peak == reading.max_momentary


def test_a_cut_in_the_middle_of_a_tone_makes_up_no_peak():
    """Ten cuts through a steady tone: the true peak stays the tone's own within the meter's error."""
    meter = Meter(RATE_HZ, "mono")
    tone = 0.5 * np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)[:, None]
    for start in range(0, RATE_HZ - 4800, 4507):
        meter.push(tone[start : start + 4000])
        meter.splice()

    assert meter.reading().max_true_peak == pytest.approx(20 * np.log10(0.5), abs=0.1)


@pytest.mark.parametrize("value", [3e38, -1e30, np.inf, np.nan])
def test_absurd_samples_are_counted_and_read_as_silence(value):
    """A float file may hold anything; the peak of what is left is what is read."""
    frames = np.full((RATE_HZ, 1), 0.25, np.float32)
    frames[:10] = value
    meter = Meter(RATE_HZ, "mono")
    meter.push(frames)

    assert meter.reading().bad_samples == 10
    assert meter.reading().max_true_peak < -10.0


@pytest.mark.parametrize("value", [3e38, -1e30, np.inf, np.nan])
def test_an_absurd_sample_behind_a_loss_makes_up_no_peak(value):
    """The level that the interpolators start from is that of a good sample, or silence."""
    frames = np.full((RATE_HZ, 1), 0.25)
    frames[0] = value
    meter = Meter(RATE_HZ, "mono")
    meter.splice()
    meter.push(frames)

    assert meter.reading().bad_samples == 1
    assert meter.reading().max_true_peak < -10.0
