"""NaN and infinite samples: a fault of the source, counted, measured as silence, soon over.

Common practice, no source: the standards do not speak of samples that are not numbers.
"""

import dataclasses

import numpy as np
import pytest

from sidecar.meter import Meter

RATE_HZ = 48_000

PLACES = {
    "first sample": [(0, 0)],
    "last sample": [(-1, 1)],
    "scattered": [(k, k % 6) for k in range(1000, 200_000, 7919)],
    "both fronts at once": [(50_000, 0), (50_000, 1)],
    "the LFE": [(70_000, 3), (70_001, 3)],
    "a whole stretch": [(k, c) for k in range(100_000, 103_000) for c in range(6)],
}


def reading_of(frames):
    meter = Meter(sample_rate=RATE_HZ, layout="5.1")
    for start in range(0, len(frames), 4801):
        meter.push(frames[start : start + 4801])
    return meter.reading()


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf], ids=["nan", "inf", "-inf"])
@pytest.mark.parametrize("places", PLACES.values(), ids=PLACES.keys())
def test_a_bad_sample_is_counted_and_measured_as_silence(dtype, bad, places):
    """The reading is that of the same frames with zeros there, and says how many there were."""
    noise = np.random.default_rng(1770).normal(0.0, 0.05, (5 * RATE_HZ, 6)).astype(dtype)
    frames, channels = np.array(places).T
    silenced, spoilt = noise.copy(), noise.copy()
    silenced[frames, channels] = 0.0
    spoilt[frames, channels] = bad

    expected = dataclasses.replace(reading_of(silenced), bad_samples=len(places))

    assert reading_of(spoilt) == expected


def test_a_reset_forgets_bad_samples():
    """The count is since the last reset."""
    meter = Meter(sample_rate=RATE_HZ, layout="stereo")
    meter.push(np.full((100, 2), np.nan))
    counted = meter.reading().bad_samples
    meter.reset()

    expected = [200, 0]
    assert [counted, meter.reading().bad_samples] == expected


def test_the_callers_frames_are_left_alone():
    """Bad samples are silenced in the measurement, not in the caller's array."""
    frames = np.full((4800, 2), np.nan, np.float32)
    Meter(sample_rate=RATE_HZ, layout="stereo").push(frames)

    assert np.isnan(frames).all()
