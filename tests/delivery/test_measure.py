"""Whole files, read from the disk."""

import numpy as np
import pytest
import soundfile

from sidecar.delivery.measure.whole_file import measure

SECONDS = 12


def noise(rate_hz, channels):
    rng = np.random.default_rng(5)
    return rng.standard_normal((SECONDS * rate_hz, channels)) * 0.05


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_a_tone_reads_the_same_at_every_rate(tmp_path, rate_hz):
    """Tech 3341 case 1 from a file: −23.0 ±0.1 LUFS whatever the sample rate."""
    t = np.arange(SECONDS * rate_hz) / rate_hz
    sine = 10 ** (-23 / 20) * np.sin(2 * np.pi * 1000 * t)
    soundfile.write(tmp_path / "tone.wav", np.stack([sine, sine], axis=1), rate_hz, subtype="PCM_24")
    measured = measure(tmp_path / "tone.wav")

    assert measured.reading.integrated == pytest.approx(-23.0, abs=0.1)
    assert measured.reading.seconds == pytest.approx(SECONDS)


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.aiff", "a.ogg", "a.caf", "a.w64", "a.rf64"])
def test_every_container_reads_the_same(tmp_path, name):
    """Lossless ones to the hundredth; the lossy one within the tenth that a chord's coding may change."""
    t = np.arange(SECONDS * 48_000)[:, None] / 48_000
    frames = 0.1 * np.sin(2 * np.pi * t * [220, 330]) + 0.05 * np.sin(2 * np.pi * t * [1000, 2500])
    soundfile.write(tmp_path / "plain.wav", frames, 48_000, subtype="PCM_16")
    soundfile.write(tmp_path / name, frames, 48_000)
    plain, other = measure(tmp_path / "plain.wav").reading, measure(tmp_path / name).reading

    tolerance = 0.1 if name.endswith("ogg") else 0.01
    assert other.integrated == pytest.approx(plain.integrated, abs=tolerance)


def test_six_channels_are_5_1_and_the_lfe_stays_out(tmp_path):
    """BS.1770-5 Annex 1: only the LFE differs, and the loudness does not."""
    frames = noise(48_000, 6)
    soundfile.write(tmp_path / "a.wav", frames, 48_000, subtype="FLOAT")
    frames[:, 3] *= 10.0
    soundfile.write(tmp_path / "b.wav", frames, 48_000, subtype="FLOAT")
    a, b = measure(tmp_path / "a.wav"), measure(tmp_path / "b.wav")

    assert a.layout == "5.1"
    assert a.reading.integrated == b.reading.integrated
    assert b.reading.max_true_peak > a.reading.max_true_peak + 15


def test_progress_ends_at_the_whole(tmp_path):
    """A person who watches sees it run from the beginning to the end."""
    soundfile.write(tmp_path / "a.wav", noise(48_000, 2), 48_000)
    shares = []
    measure(tmp_path / "a.wav", progress=shares.append)

    assert shares == sorted(shares)
    assert shares[-1] == 1.0
