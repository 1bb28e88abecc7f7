"""What each channel has in the loudness of a block (ITU-R BS.1770-5 Annex 1, equation 2)."""

import numpy as np
import pytest

from sidecar.meter import Meter
from sidecar.meter.front import Front
from sidecar.meter.layouts import layout_of_weights

RATE_HZ = 48_000


def noise(seconds, channels, seed=3):
    levels = 0.02 * 2.0 ** np.arange(channels)
    return np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), channels)) * levels


@pytest.mark.parametrize("step", [480, 1_000, 48_000])
def test_each_channel_has_what_it_would_have_alone_times_its_weight(step):
    """5.1: the surrounds count 1.41 times (Table 3), the LFE not at all, and together they are the block."""
    sound = noise(2.0, 6)
    meter = Meter(RATE_HZ, "5.1")
    for at in range(0, len(sound), step):
        meter.push(sound[at : at + step])
    blocks = meter.take_blocks()
    alone = []
    for channel, weight in enumerate(meter.layout.weights):
        one = Meter(RATE_HZ, "mono")
        one.push(sound[:, channel : channel + 1])
        alone.append(weight * one.take_blocks().energy)

    assert blocks.channel_energy.shape == (20, 6)
    np.testing.assert_allclose(np.stack(alone, axis=1), blocks.channel_energy, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(blocks.energy, blocks.channel_energy.sum(axis=1), rtol=1e-12)


@pytest.mark.parametrize("rate_hz", [48_000, 22_050])
def test_a_long_push_gives_what_short_ones_give(rate_hz):
    """From 1.2 s on, two stretches are weighted at once. At 22.05 kHz one hop is a frame longer than another.
    A tone far below the high-pass leaves the most behind: it must have settled."""
    t = np.arange(round(2.345 * rate_hz)) / rate_hz
    sound = noise(3.0, 3)[: t.size] * 0.01 + np.sin(2 * np.pi * 5.0 * t)[:, None]
    long, short = (Front(rate_hz, layout_of_weights((1.0, 1.0, 1.41))) for _ in range(2))
    at_once = long.push(sound)
    pieces = [short.push(sound[at : at + 1_000]) for at in range(0, len(sound), 1_000)]

    np.testing.assert_allclose(at_once.energy, np.concatenate([piece.energy for piece in pieces]), rtol=1e-11)
    np.testing.assert_allclose(at_once.apart, np.concatenate([piece.apart for piece in pieces]), rtol=1e-11)
    assert long.unfinished_energy == pytest.approx(short.unfinished_energy, rel=1e-11)


def test_a_cut_leaves_nothing_of_the_block_before_it():
    """After a loss a block has only its own frames."""
    sound = noise(1.0, 2)
    cut, whole = Meter(RATE_HZ, "stereo"), Meter(RATE_HZ, "stereo")
    cut.push(100.0 * sound[:2_345])
    cut.splice()
    for meter in (cut, whole):
        meter.push(sound)

    np.testing.assert_allclose(whole.take_blocks().channel_energy[3:], cut.take_blocks().channel_energy[3:])


def test_silence_has_no_shares():
    """Nothing divided by nothing is no energy."""
    meter = Meter(RATE_HZ, "stereo")
    meter.push(np.zeros((RATE_HZ, 2)))

    assert not meter.take_blocks().channel_energy.any()
