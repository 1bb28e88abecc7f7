"""What the newest frames are like: live peaks, correlation, what mono loses, peaks that are reset apart."""

import math

import numpy as np
import pytest

from sidecar.meter import Meter
from sidecar.model.readings import SILENCE, Reading

RATE_HZ = 48_000


def _noise(seconds, level=0.1, channels=2, start=3):
    rng = np.random.default_rng(start)
    return (level * rng.standard_normal((round(seconds * RATE_HZ), channels))).astype(np.float32)


def _read(frames, piece=4_800):
    meter = Meter(RATE_HZ, channels=frames.shape[1])
    for start in range(0, len(frames), piece):
        meter.push(frames[start : start + piece])
    return meter.reading()


@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 0.95])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_correlation_is_that_of_numpy(share, sign):
    """Against numpy.corrcoef of the last second: noise has no offset, so both are the same."""
    frames = _noise(3.0)
    frames[:, 1] = sign * share * frames[:, 0] + math.sqrt(1.0 - share**2) * frames[:, 1]
    expected = np.corrcoef(frames[-RATE_HZ:].T)[0, 1]

    assert _read(frames).correlation == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize("piece", [7, 480, 4_800, 50_001])
def test_the_size_of_the_pieces_changes_nothing(piece):
    frames = _noise(1.3 if piece == 7 else 3.4)
    one, other = _read(frames), _read(frames, piece)

    assert other.correlation == pytest.approx(one.correlation, abs=1e-5)
    assert other.mono_loss_db == pytest.approx(one.mono_loss_db, abs=1e-4)
    assert other.channel_peak == pytest.approx(one.channel_peak)
    assert other.short_term_peak == pytest.approx(one.short_term_peak)


@pytest.mark.parametrize(
    ("right", "correlation", "loss_db"),
    [(1.0, 1.0, 0.0), (-1.0, -1.0, None), (-0.5, -1.0, 10.0), (0.5, 1.0, 0.46)],
)
def test_what_mono_loses_is_the_power_of_the_sum(right, correlation, loss_db):
    """By hand: (1 + r)² / (2 (1 + r²)) of the power is left."""
    frames = _noise(3.0)
    frames[:, 1] = right * frames[:, 0]
    reading = _read(frames)

    assert reading.correlation == pytest.approx(correlation, abs=1e-5)
    if loss_db is None:
        assert reading.mono_loss_db > 60.0
    else:
        assert reading.mono_loss_db == pytest.approx(loss_db, abs=0.01)


def test_unrelated_channels_lose_3_db():
    assert _read(_noise(3.0)).mono_loss_db == pytest.approx(3.0, abs=0.1)


@pytest.mark.parametrize("channels", [1, 2])
def test_mono_and_silence_have_no_correlation(channels):
    frames = np.zeros((RATE_HZ, channels), np.float32)
    reading = _read(frames)

    assert (reading.correlation, reading.mono_loss_db) == (None, 0.0)
    assert set(reading.channel_peak) == {SILENCE}
    assert Meter(RATE_HZ, channels=channels).reading().correlation is None


def test_a_dead_channel_shows_within_half_a_second():
    frames = _noise(4.0)
    frames[-round(0.5 * RATE_HZ) :, 1] = 0.0
    left, right = _read(frames).channel_peak

    assert left > -20.0
    assert right == SILENCE


def test_live_peaks_are_of_the_last_0_4_s_and_go_on_in_a_pause():
    meter = Meter(RATE_HZ)
    meter.push(_noise(1.0, 0.3))
    meter.pause()
    meter.push(_noise(0.6, 0.001))
    reading = meter.reading()

    assert max(reading.channel_peak) < -45.0
    assert max(reading.true_peak) > -10.0


def test_the_ratios_are_peak_less_loudness():
    """Of a sine at 997 Hz in both channels, −20 dBFS: −20.0 LUFS (BS.1770-5 Annex 1, note on 0 dBFS), so a
    ratio of 0."""
    sine = 0.1 * np.sin(2.0 * np.pi * 997.0 * np.arange(5 * RATE_HZ) / RATE_HZ)
    reading = _read(np.column_stack((sine, sine)).astype(np.float32))

    assert reading.plr_lu == pytest.approx(0.0, abs=0.1)
    assert reading.psr_lu == pytest.approx(0.0, abs=0.1)
    assert Reading().plr_lu == Reading().psr_lu == SILENCE


def test_the_short_ratio_forgets_a_peak_after_3_s():
    frames = _noise(6.0, 0.05)
    frames[RATE_HZ] = 0.9
    reading = _read(frames)

    assert reading.plr_lu - reading.psr_lu > 8.0


def test_a_reset_of_the_peaks_leaves_the_programme_as_it_is():
    meter = Meter(RATE_HZ)
    meter.push(_noise(2.0, 0.2))
    meter.push(_noise(0.1, 0.01))  # interpolators remember some samples
    before = meter.reading()
    meter.reset_peaks()
    meter.push(_noise(1.0, 0.01))
    after = meter.reading()

    assert before.held_peak == before.true_peak
    assert after.true_peak == before.true_peak
    assert max(after.held_peak) < -20.0
    assert after.seconds == pytest.approx(3.1)


def test_held_peaks_are_restored_with_the_rest():
    meter = Meter(RATE_HZ)
    meter.push(_noise(2.0, 0.2))
    meter.reset_peaks()
    meter.push(_noise(1.0, 0.01))
    before = meter.reading()
    other = Meter(RATE_HZ)
    other.restore(meter.take_blocks().energy, before)

    assert other.reading().held_peak == pytest.approx(before.held_peak)
    assert other.reading().true_peak == pytest.approx(before.true_peak)
