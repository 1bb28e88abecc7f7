"""What was heard, on disk."""

import resource
import tracemalloc

import numpy as np
import pytest
import soundfile

from sidecar.errors import SettingsError
from sidecar.run.audio_recorder import AudioRecorder

RATE_HZ = 48_000


def test_every_frame_is_kept_as_it_was_and_lost_ones_are_silence(tmp_path):
    """Beyond full scale too: a bus may pass it, and a later check must see by how much."""
    first, second = (np.random.default_rng(seed).normal(0.0, 0.7, (900, 2)) for seed in (1, 2))
    tape = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2)
    tape.take(first.astype(np.float32))
    tape.take(second.astype(np.float32), lost=300)
    tape.close()
    heard, rate_hz = soundfile.read(tmp_path / "heard.wav", dtype="float32")

    assert (RATE_HZ, "") == (rate_hz, tape.fault)
    np.testing.assert_array_equal(
        np.concatenate([first, np.zeros((300, 2)), second]).astype(np.float32), heard
    )


def test_a_long_loss_is_written_in_pieces(tmp_path):
    """A device away for an hour must not ask for gigabytes: here 16 MB are written from less than 2."""
    tape = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2)
    tracemalloc.start()
    try:
        tape.take(np.ones((1, 2), np.float32), lost=2_000_000)
        tape.close()
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert 2_000_001 == soundfile.info(tmp_path / "heard.wav").frames
    assert most < 2_000_000


def test_a_file_that_is_there_is_never_written_over(tmp_path):
    """Yesterday's pass is worth more than a typing error."""
    (tmp_path / "kept.wav").write_bytes(b"precious")
    with pytest.raises(SettingsError, match="exists already"):
        AudioRecorder(tmp_path / "kept.wav", RATE_HZ, 2)

    assert b"precious" == (tmp_path / "kept.wav").read_bytes()


@pytest.mark.parametrize("name", ["heard.docx", "heard", "heard.mp3", "heard.ogg", "nowhere/heard.wav"])
def test_what_cannot_be_written_is_said_at_once(tmp_path, name):
    """Not after four hours; and a coding that loses some of the sound is no proof of what was heard."""
    with pytest.raises(SettingsError, match="cannot be written"):
        AudioRecorder(tmp_path / name, RATE_HZ, 2)

    assert [] == list(tmp_path.iterdir())


def test_why_the_system_refuses_a_file_is_said_in_its_own_words(tmp_path):
    """“System error” tells nobody that a folder is missing."""
    with pytest.raises(SettingsError, match="No such file or directory"):
        AudioRecorder(tmp_path / "nowhere" / "heard.wav", RATE_HZ, 2)


def test_a_format_that_cannot_hold_the_sound_leaves_nothing_behind(tmp_path):
    """FLAC ends at 8 channels (RFC 9639 §9.1.3)."""
    with pytest.raises(SettingsError, match="cannot hold 12 channels at 48000 Hz"):
        AudioRecorder(tmp_path / "heard.flac", RATE_HZ, 12)

    assert [] == list(tmp_path.iterdir())


def test_a_disk_that_takes_no_more_is_told(tmp_path):
    """The measuring goes on, and the person knows that the file is not whole."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    tape = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))
    try:
        for _ in range(10):
            tape.take(np.ones((4_800, 2), np.float32))
        tape.close()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))

    assert "heard.wav is not whole" in tape.fault
