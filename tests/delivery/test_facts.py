"""What a file is beside its loudness. The figures are those the files here are made with."""

import numpy as np
import pytest
import soundfile

from sidecar.delivery.measure.whole_file import measure

RATE_HZ = 48_000


def noise(seconds, channels=2, seed=11):
    return 0.1 * np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), channels))


def measured(folder, frames, rate_hz=RATE_HZ, name="a.wav", subtype="FLOAT"):
    soundfile.write(folder / name, frames, rate_hz, subtype=subtype)
    return measure(folder / name)


def test_offset_and_peak_are_told_for_each_channel(tmp_path):
    """A mean of 0.02 on the right only, and each channel's own highest sample."""
    frames = noise(4)
    frames -= frames.mean(axis=0)
    frames[:, 1] += 0.02
    frames[7, 0], frames[9, 1] = -0.8, 0.7
    facts = measured(tmp_path, frames).facts

    assert list(facts.dc_offset) == pytest.approx([0.0, 0.02], abs=1e-4)
    assert list(facts.sample_peak) == pytest.approx([20 * np.log10(0.8), 20 * np.log10(0.7)], abs=1e-5)


@pytest.mark.parametrize("mix", [1.0, -1.0, 0.0, 0.5])
def test_correlation_is_that_of_the_two_channels(tmp_path, mix):
    """The normalised product of left and right over the whole file, as numpy finds it."""
    frames = noise(5)
    if mix:
        frames[:, 1] = mix * frames[:, 0] + (0.0 if abs(mix) == 1.0 else 0.3 * frames[:, 1])
    facts = measured(tmp_path, frames).facts
    left, right = frames.astype(np.float32).astype(np.float64).T

    expected = left @ right / np.sqrt(left @ left * (right @ right))
    assert facts.correlation == pytest.approx(expected, abs=1e-6)
    assert (mix == 1.0) == facts.identical_channels


def test_correlation_with_silence_is_nothing(tmp_path):
    """A silent channel has no correlation with anything; a mono file has no second channel."""
    frames = noise(1)
    frames[:, 1] = 0.0

    assert measured(tmp_path, frames).facts.correlation is None
    assert measured(tmp_path, noise(1, channels=1)).facts.correlation is None


def test_silences_of_a_second_and_longer_are_found(tmp_path):
    """At the start, in the middle across reading blocks, and at the end; a shorter one is left out."""
    frames = noise(20)
    for start, stop in [(0.0, 1.5), (4.0, 4.9), (6.00001, 9.0), (12.0, 13.0), (18.5, 20.0)]:
        frames[round(start * RATE_HZ) : round(stop * RATE_HZ)] = 0.0
    frames[15 * RATE_HZ : 17 * RATE_HZ, 0] = 0.0  # one channel alone is no silence
    found = measured(tmp_path, frames).facts.silences

    expected = [(0.0, 1.5), (6.0, 3.0), (12.0, 1.0), (18.5, 1.5)]
    assert [pytest.approx(each, abs=1e-4) for each in expected] == list(found)


def test_a_silent_file_is_one_silence(tmp_path):
    """Nothing else is known of it: no correlation, no peak, no clipping."""
    facts = measured(tmp_path, np.zeros((3 * RATE_HZ, 2))).facts

    assert facts.silences == ((0.0, 3.0),)
    assert (-np.inf, -np.inf) == facts.sample_peak
    assert (facts.clipped_runs, facts.first_clip_at_s) == (0, None)


@pytest.mark.parametrize(("subtype", "name"), [("PCM_16", "a.wav"), ("PCM_24", "a.flac"), ("FLOAT", "a.wav")])
def test_three_samples_at_full_scale_are_clipped(tmp_path, subtype, name):
    """Two in a row are not; runs count once, whatever their length and wherever reading was cut."""
    frames = noise(4)
    edge = 65_536
    for start, length, channel, value in [
        (1000, 2, 0, 1.0),
        (5000, 3, 1, -1.0),
        (edge - 1, 3, 0, 1.0),
        (edge - 2, 4, 1, 1.0),
        (2 * edge, 3000, 0, -1.0),
    ]:
        frames[start : start + length, channel] = value
    facts = measured(tmp_path, frames, name=name, subtype=subtype).facts

    assert facts.clipped_runs == 4
    assert [5000 / RATE_HZ, (edge - 2) / RATE_HZ, (edge - 1) / RATE_HZ, 2 * edge / RATE_HZ] == list(
        facts.clips_at_s
    )
    assert facts.first_clip_at_s == 5000 / RATE_HZ


def test_the_places_of_the_first_twenty_clipped_runs_are_kept(tmp_path):
    """Of 15 in each channel, one after the other over several reading blocks: all are counted."""
    frames = noise(4)
    begins = 6000 * (np.arange(30) + 1)
    for k, begin in enumerate(begins):
        frames[begin : begin + 4, k % 2] = 1.0
    facts = measured(tmp_path, frames).facts

    assert (30, list(begins[:20] / RATE_HZ)) == (facts.clipped_runs, list(facts.clips_at_s))


def test_the_encoding_is_told(tmp_path):
    """What a report needs to say which file it speaks of."""
    facts = measured(tmp_path, noise(1), name="a.wav", subtype="DOUBLE").facts

    assert (facts.container, facts.encoding, facts.frames) == ("WAV", "DOUBLE", RATE_HZ)


def test_maxima_are_found_where_they_are(tmp_path):
    """A burst of 1 s from 10 s on, and a loud click at 15.05 s."""
    frames = 0.01 * noise(20)
    frames[10 * RATE_HZ : 11 * RATE_HZ] = noise(1)
    frames[round(15.05 * RATE_HZ), 1] = 0.99
    found = measured(tmp_path, frames)

    assert 10.4 <= found.max_momentary_at_s <= 11.0
    assert found.max_short_term_at_s == pytest.approx(12.0, abs=1.01)
    assert found.max_true_peak_at_s == pytest.approx(15.0)


def test_a_peak_behind_the_last_full_block_is_placed_there(tmp_path):
    """1.05 s: the highest peak is in the 50 ms that fill no block."""
    frames = 0.01 * noise(1.05)
    frames[-100, 0] = 0.9

    assert measured(tmp_path, frames).max_true_peak_at_s == pytest.approx(1.0)


def test_the_history_is_the_file_in_tenths_of_a_second(tmp_path):
    """Tech 3341 line-up: 1 kHz at −18 dBFS in both channels reads −18 LUFS in every window once full."""
    t = np.arange(round(5.03 * RATE_HZ)) / RATE_HZ
    tone = 10 ** (-18 / 20) * np.sin(2 * np.pi * 1000 * t)
    history = measured(tmp_path, np.stack([tone, 0.5 * tone], axis=1)).history
    both = -18.0 + 10 * np.log10((1 + 0.25) / 2)

    assert 50 == len(history.energy) == len(history.momentary) == len(history.short_term)
    assert history.momentary[10:] == pytest.approx(np.full(40, both), abs=0.02)
    assert history.short_term[30:] == pytest.approx(np.full(20, both), abs=0.02)
    assert -0.691 + 10 * np.log10(history.energy[10:].mean()) == pytest.approx(both, abs=0.02)
    assert history.true_peak.shape == (50, 2)
    assert list(history.true_peak[20]) == pytest.approx([-18.0, -24.02], abs=0.1)
