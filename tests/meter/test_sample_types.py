"""Samples are measured alike in whatever type they come."""

import numpy as np
import pytest

from sidecar.errors import SignalError
from sidecar.meter import Meter

RATE_HZ = 8_000


def reading(frames):
    meter = Meter(RATE_HZ, channels=frames.shape[1])
    for start in range(0, len(frames), 3_333):
        meter.push(frames[start : start + 3_333])
    meter.finish()
    return meter.reading()


@pytest.mark.parametrize("channels", [1, 2, 5, 6])
@pytest.mark.parametrize(("dtype", "full_scale"), [(np.int16, 2**15), (np.int32, 2**31), (np.float64, 1)])
def test_integers_are_the_floats_they_stand_for(channels, dtype, full_scale):
    """16 bits in each type, with the lowest integer, −1.0, among them: the same reading as in float32."""
    noise = np.random.default_rng(channels).normal(0.0, 0.1, (4 * RATE_HZ, channels))
    steps = np.round(noise * 2**15).clip(-(2**15), 2**15 - 1)
    steps[777] = -(2**15)
    same = (steps * (full_scale / 2**15)).astype(dtype)

    assert reading((steps / 2**15).astype(np.float32)) == reading(same)


@pytest.mark.slow
def test_ten_minutes_may_be_pushed_at_once():
    """One push of any size is the same as many."""
    frames = np.random.default_rng(0).normal(0.0, 0.1, (600 * RATE_HZ, 2)).astype(np.float32)
    meter = Meter(RATE_HZ, "stereo")
    meter.push(frames)
    meter.finish()

    assert meter.reading().integrated == pytest.approx(reading(frames).integrated, abs=1e-9)
    assert reading(frames).true_peak == meter.reading().true_peak


@pytest.mark.parametrize("dtype", [np.uint8, np.int64, np.float16, complex])
def test_other_types_are_refused(dtype):
    """The message names the types that can be measured."""
    with pytest.raises(SignalError, match="give float32, float64, int16 or int32"):
        Meter(RATE_HZ, "mono").push(np.zeros((10, 1), dtype))
