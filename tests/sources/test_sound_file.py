"""Samples as they are in the file: every encoding that libsndfile writes here, and its decoder as judge."""

import numpy as np
import pytest
import soundfile

from sidecar.sources.sound_file import SoundFile

RATE_HZ = 48_000
SCALES = {"int16": 2.0**-15, "int32": 2.0**-31, "float32": 1.0, "float64": 1.0}

WRITABLE = [
    (container, encoding)
    for container in ("WAV", "WAVEX", "RF64", "W64", "AIFF", "CAF", "AU", "FLAC", "OGG", "MP3")
    for encoding in soundfile.available_subtypes(container)
    if soundfile.check_format(container, encoding)
    and not encoding.startswith("DWVW")  # libsndfile cannot read back what it writes
    and (container == "MP3") == (encoding == "MPEG_LAYER_III")  # layer III alone, and as a file of its own
]


def chord(seconds=1.6):
    t = np.arange(round(seconds * RATE_HZ))[:, None] / RATE_HZ
    return 0.4 * np.sin(2 * np.pi * t * [440.0]) + 0.2 * np.sin(2 * np.pi * t * [1250.0])


def read(path, block_frames):
    with SoundFile(path) as file:
        blocks = []
        while len(block := file.read(block_frames, file.native_type)):
            blocks.append(block)
        file.check_complete()
        return np.concatenate(blocks) * SCALES[file.native_type]


@pytest.mark.parametrize(("container", "encoding"), WRITABLE)
def test_every_encoding_is_read_as_its_decoder_gives_it(tmp_path, container, encoding):
    """In blocks and as it is, equal to the whole file decoded in one go to float64."""
    path = tmp_path / "a.bin"
    soundfile.write(path, chord(), RATE_HZ, format=container, subtype=encoding)
    whole, _ = soundfile.read(path, dtype="float64", always_2d=True)

    np.testing.assert_allclose(read(path, 4801), whole, atol=1e-7)


@pytest.mark.parametrize("suffix", ["wav", "flac", "aiff", "caf", "w64", "rf64"])
@pytest.mark.parametrize("frame", [0, 1, 4097, 70_001, 76_799])
def test_a_place_is_found_to_the_frame(tmp_path, suffix, frame):
    """What is read from there on is the rest of the file."""
    path = tmp_path / f"a.{suffix}"
    soundfile.write(path, chord(), RATE_HZ, subtype="PCM_24")
    with SoundFile(path) as file:
        assert file.finds_frames
        file.seek(frame)
        rest = file.read(10**6, "float32")

    np.testing.assert_array_equal(soundfile.read(path, dtype="float32", always_2d=True)[0][frame:], rest)


@pytest.mark.parametrize("name", ["a.mp3", "a.ogg"])
def test_packets_are_no_places(tmp_path, name):
    """A lossy file is only ever read from its beginning."""
    soundfile.write(tmp_path / name, chord(), RATE_HZ)
    with SoundFile(tmp_path / name) as file:
        assert not file.finds_frames


@pytest.mark.parametrize(
    ("encoding", "full_scale"), [("PCM_U8", 127 / 128), ("PCM_16", 32767 / 32768), ("FLOAT", 1.0)]
)
def test_full_scale_is_the_highest_that_the_encoding_holds(tmp_path, encoding, full_scale):
    """Written as loud as can be, a sample is read as full scale."""
    soundfile.write(tmp_path / "a.wav", np.ones((100, 1)), RATE_HZ, subtype=encoding)
    with SoundFile(tmp_path / "a.wav") as file:
        assert full_scale == file.full_scale
    assert full_scale == read(tmp_path / "a.wav", 100).max()
