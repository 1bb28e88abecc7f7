"""The mix and its stems measured as one, against the same sound measured by hand."""

import numpy as np
import pytest

from sidecar.errors import SettingsError
from sidecar.meter import Meter
from sidecar.run.metering import Metering

RATE_HZ = 48_000
NAMES = ("voice", "band")


def stems(seconds, seed=7):
    """Two stems that share a room, side by side: float32, shape (n, 4)."""
    noise = np.random.default_rng(seed).normal(0.0, 0.05, (round(seconds * RATE_HZ), 4))
    noise[:, 2:] += 0.4 * noise[:, :2]
    return noise.astype(np.float32)


@pytest.mark.slow
def test_the_mix_reads_what_its_sum_reads():
    """Measured as stems, integrated and true peak are those of the summed programme."""
    sound = stems(6.0)
    metering, plain = Metering(RATE_HZ, 4, None, NAMES), Meter(RATE_HZ, "stereo")
    metering.push(sound)
    plain.push(sound[:, :2].astype(np.float64) + sound[:, 2:])

    assert metering.reading().integrated == pytest.approx(plain.reading().integrated, abs=1e-6)
    assert metering.reading().max_true_peak == pytest.approx(plain.reading().max_true_peak, abs=1e-3)


def test_blocks_of_mix_and_stems_are_the_same_stretches_through_pause_and_loss():
    """BS.1770-5 Annex 1: the mean square of the sum is the sum of all mean products, block by block."""
    metering = Metering(RATE_HZ, 4, None, NAMES)
    sound = stems(9.0)
    energies, sums = [], []

    def play(start_s, stop_s):
        for at in range(round(start_s * RATE_HZ), round(stop_s * RATE_HZ), 1_000):
            metering.push(sound[at : at + 1_000])
        taken = metering.take_blocks()
        energies.extend(taken.mix.energy)
        sums.extend(taken.stems.covariance.sum(axis=(1, 2)))

    play(0.0, 2.03)
    metering.pause()
    play(2.03, 3.31)
    metering.resume()
    play(3.31, 5.17)
    metering.splice()
    play(5.17, 7.0)
    metering.reset()
    play(7.0, 9.0)

    assert 20 + 18 + 18 + 20 == len(energies) == len(sums)
    np.testing.assert_allclose(energies, sums, rtol=1e-7)


@pytest.mark.parametrize("names", [(), NAMES])
def test_a_reset_in_the_midst_of_a_tone_makes_no_peak_that_nobody_played(names):
    """A cosine of amplitude 0.9 peaks at -0.92 dBTP, from whatever sample on it is measured."""
    wave = 0.9 * np.cos(2 * np.pi * 100 * np.arange(2 * RATE_HZ) / RATE_HZ)
    sound = np.zeros((wave.size, 2 * max(1, len(names))), np.float32)
    sound[:, :2] = wave[:, np.newaxis]
    metering = Metering(RATE_HZ, sound.shape[1], None, names)
    metering.push(sound[:RATE_HZ])
    metering.reset()
    metering.push(sound[RATE_HZ:])
    taken = metering.take_blocks()

    assert metering.reading().max_true_peak == pytest.approx(20 * np.log10(0.9), abs=0.01)
    if taken.stems is not None:
        assert taken.stems.true_peak.max() == pytest.approx(20 * np.log10(0.9), abs=0.01)


def test_a_broken_sample_is_counted_once():
    """Both meters measure it as silence, and count it."""
    metering = Metering(RATE_HZ, 4, None, NAMES)
    sound = stems(1.0)
    sound[100, 2] = np.nan
    metering.push(sound)

    assert metering.reading().bad_samples == 1


def test_channels_that_do_not_fit_the_stems_are_refused():
    """The message says how many channels so many stems need."""
    with pytest.raises(SettingsError, match=r"2 stems need 4 channels, two each, and there are 2"):
        Metering(RATE_HZ, 2, None, NAMES)


def test_without_stems_there_are_none():
    """The mix alone is measured as ever."""
    metering = Metering(RATE_HZ, 2, None)
    metering.push(stems(1.0)[:, :2])

    assert metering.take_blocks().stems is None
