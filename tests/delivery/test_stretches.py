"""A file measured in stretches side by side is the file measured from its first frame to its last.

The filters are those of BS.1770-5 Annex 1: linear, with poles that forget within 0.3 s far more than a
double holds. So nothing may differ but the order in which numbers are added.
"""

import dataclasses

import numpy as np
import pytest
import soundfile

from sidecar.delivery.measure.stretches import stretches
from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import SourceError
from sidecar.meter import Meter
from sidecar.sources.sound_file import SoundFile

SECONDS = 41
SEAM_S = 5
"""With four workers a file of this length is cut every 5 s."""


def programme(rate_hz, channels):
    """Noise that moves by 40 dB, with all that could come apart at a seam: a full-scale offset that ends
    there before something faint, clipped runs and silences across it, peaks between samples beside it."""
    random = np.random.default_rng(rate_hz + channels)
    level_db = np.repeat(random.uniform(-50.0, -10.0, SECONDS), rate_hz)
    frames = (10 ** (level_db / 20))[:, None] * random.standard_normal((level_db.size, channels))
    seam = [SEAM_S * k * rate_hz for k in range(9)]
    frames[seam[1] - rate_hz : seam[1]] = 1.0
    frames[seam[1] : seam[1] + rate_hz] = 2e-4 * random.standard_normal((rate_hz, channels))
    frames[seam[2] - 2 : seam[2] + 1] = -1.0
    frames[seam[3] - 40 : seam[3] + 40] = 1.0
    frames[seam[4] - rate_hz : seam[4] + rate_hz] = 0.0
    frames[seam[6] - rate_hz // 2 : seam[7] + rate_hz] = 0.0
    quarter = np.sin(np.pi * (np.arange(-50, 50) / 2 + 0.25)) * np.hanning(100)  # +3 dB between its samples
    frames[seam[5] - 2 * rate_hz // 1000 : seam[5] + 1] = 0.0
    frames[seam[5] + rate_hz // 2 : seam[5] + rate_hz // 2 + rate_hz // 100, 0] = 0.0
    frames[seam[8] - 50 : seam[8] + 50] = 0.9 * quarter[:, None]
    return np.clip(frames, -1.0, 1.0)


def assert_same(one, other):
    """Equal to the bit where nothing is added up, to a billionth where something is."""
    for field in dataclasses.fields(one.reading):
        values = [getattr(each.reading, field.name) for each in (one, other)]
        assert values[1] == pytest.approx(values[0], abs=1e-9), field.name
    for name in ("max_momentary_at_s", "max_short_term_at_s", "max_true_peak_at_s"):
        assert getattr(one, name) == getattr(other, name), name
    np.testing.assert_allclose(other.history.energy, one.history.energy, rtol=1e-9, atol=1e-24)
    np.testing.assert_allclose(other.history.short_term, one.history.short_term, atol=1e-5)
    np.testing.assert_allclose(other.history.momentary, one.history.momentary, atol=1e-5)
    np.testing.assert_array_equal(one.history.true_peak, other.history.true_peak)
    facts = [dataclasses.replace(each.facts, dc_offset=(), correlation=None) for each in (one, other)]
    assert facts[0] == facts[1]
    assert other.facts.dc_offset == pytest.approx(one.facts.dc_offset, abs=1e-9)
    assert other.facts.correlation == pytest.approx(one.facts.correlation, abs=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("rate_hz", "channels", "suffix", "subtype"),
    [
        (8_000, 2, "wav", "PCM_16"),
        (11_025, 1, "wav", "FLOAT"),
        (44_100, 2, "flac", "PCM_24"),
        (48_000, 2, "wav", "DOUBLE"),
        (48_000, 6, "caf", "PCM_32"),
        (96_000, 2, "aiff", "PCM_24"),
    ],
)
def test_side_by_side_is_one_by_one(tmp_path, rate_hz, channels, suffix, subtype):
    """Four workers find what one finds, at rates where blocks are no whole number of frames too."""
    path = tmp_path / f"a.{suffix}"
    soundfile.write(path, programme(rate_hz, channels), rate_hz, subtype=subtype)
    with SoundFile(path) as file:
        pieces = sum(1 for _ in stretches(file, Meter(rate_hz, channels=channels).layout, 4))

    assert pieces == 9
    assert_same(measure(path, workers=1), measure(path, workers=4))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["a.ogg", "a.mp3"])
def test_what_cannot_be_cut_is_decoded_ahead(tmp_path, name):
    """Packets of a lossy file are decoded in one row, in every process."""
    path = tmp_path / name
    soundfile.write(path, 0.5 * programme(44_100, 2)[: 44_100 * 12], 44_100)

    assert_same(measure(path, workers=1), measure(path, workers=4))


def test_no_more_is_forgotten_than_settles(tmp_path):
    """+60 dB of offset in a float file ends at a seam; the faintest programme behind it still reads right."""
    rate_hz = 8_000
    frames = np.full((20 * rate_hz, 1), 1000.0)
    frames[SEAM_S * rate_hz :] = 1e-4 * np.random.default_rng(2).standard_normal((15 * rate_hz, 1))
    soundfile.write(tmp_path / "a.wav", frames, rate_hz, subtype="DOUBLE")
    one, four = (measure(tmp_path / "a.wav", workers=workers) for workers in (1, 4))

    np.testing.assert_allclose(four.history.energy, one.history.energy, rtol=1e-9)


@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_a_file_cut_off_in_the_middle_is_no_shorter_file(tmp_path, suffix):
    """However many read it, half a file is refused with the place where it ends."""
    whole, half = tmp_path / f"whole.{suffix}", tmp_path / f"half.{suffix}"
    soundfile.write(whole, programme(8_000, 2), 8_000, subtype="PCM_16")
    half.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])

    for workers in (1, 4):
        with pytest.raises(SourceError, match=r"half\.\w+ is (damaged|cut off)"):
            measure(half, workers=workers)
