"""What was heard, on disk."""

import subprocess
import sys
import threading
import time
import tracemalloc

import numpy as np
import pytest
import soundfile

from sidecar.errors import OutputError, SettingsError, SidecarError
from sidecar.run import audio_recorder as tape_module
from sidecar.run.audio_recorder import AudioRecorder
from sidecar.wave import growing
from sidecar.wave.chunks import walk
from sidecar.wave.growing import GrowingWave

RATE_HZ = 48_000


def test_every_frame_is_kept_as_it_was_and_lost_ones_are_silence(tmp_path):
    """Beyond full scale too: a bus may pass it, and a later check must see by how much."""
    first, second = (np.random.default_rng(seed).normal(0.0, 0.7, (900, 2)) for seed in (1, 2))
    recorder = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2)
    recorder.record_frames(first.astype(np.float32))
    recorder.record_frames(second.astype(np.float32), lost=300)
    recorder.close()
    heard, rate_hz = soundfile.read(tmp_path / "heard.wav", dtype="float32")

    assert (rate_hz, recorder.fault) == (RATE_HZ, "")
    np.testing.assert_array_equal(
        np.concatenate([first, np.zeros((300, 2)), second]).astype(np.float32), heard
    )


def test_a_long_loss_is_written_in_pieces(tmp_path):
    """A device away for an hour must not ask for gigabytes: here 16 MB are written from less than 2."""
    recorder = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2)
    tracemalloc.start()
    try:
        recorder.record_frames(np.ones((1, 2), np.float32), lost=2_000_000)
        recorder.close()
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert soundfile.info(tmp_path / "heard.wav").frames == 2_000_001
    assert most < 2_000_000


def test_a_file_that_is_there_is_never_written_over(tmp_path):
    """Yesterday's pass is worth more than a typing error."""
    (tmp_path / "kept.wav").write_bytes(b"precious")
    with pytest.raises(OutputError, match="exists already"):
        AudioRecorder(tmp_path / "kept.wav", RATE_HZ, 2)

    assert (tmp_path / "kept.wav").read_bytes() == b"precious"


@pytest.mark.parametrize("name", ["heard.docx", "heard", "heard.mp3", "heard.ogg", "nowhere/heard.wav"])
def test_what_cannot_be_written_is_said_at_once(tmp_path, name):
    """Not after four hours; and a coding that loses some of the sound is no proof of what was heard."""
    with pytest.raises(SidecarError, match=r"cannot be written|is no lossless format"):
        AudioRecorder(tmp_path / name, RATE_HZ, 2)

    assert list(tmp_path.iterdir()) == []


def test_why_the_system_refuses_a_file_is_said_in_its_own_words(tmp_path):
    """“System error” does not say that a folder is missing."""
    with pytest.raises(OutputError, match="No such file or directory"):
        AudioRecorder(tmp_path / "nowhere" / "heard.wav", RATE_HZ, 2)


def test_a_format_that_cannot_hold_the_sound_leaves_nothing_behind(tmp_path):
    """FLAC ends at 8 channels (RFC 9639 §9.1.3)."""
    with pytest.raises(SettingsError, match="cannot hold 12 channels at 48000 Hz"):
        AudioRecorder(tmp_path / "heard.flac", RATE_HZ, 12)

    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_takes_no_more_is_said_and_what_it_missed_is_silent(tmp_path, files_end_at):
    """The measuring goes on; what follows keeps its place in time once the disk takes it again."""
    recorder = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2)
    ones = np.ones((4_800, 2), np.float32)
    with files_end_at(100_000):
        for _ in range(10):
            recorder.record_frames(ones)
        end_s = time.monotonic() + 30.0
        while recorder._owed < 8 * 4_800:  # the first two blocks have room
            assert time.monotonic() < end_s
            time.sleep(0.01)
        said = recorder.fault
    recorder.record_frames(2.0 * ones)
    recorder.close()
    heard, _ = soundfile.read(tmp_path / "heard.wav", dtype="float32")

    assert said == recorder.fault == f"{tmp_path}/heard.wav is incomplete: File too large."
    assert len(heard) == 11 * 4_800
    assert (heard[: 2 * 4_800] == 1.0).all()
    assert (heard[2 * 4_800 : -4_800] == 0.0).all()
    assert (heard[-4_800:] == 2.0).all()


def test_a_disk_that_is_too_slow_costs_sound_and_no_time(tmp_path, monkeypatch):
    """What found no room in the queue is silent, and what follows keeps its place."""
    may_write = threading.Event()
    write = GrowingWave.write
    monkeypatch.setattr(tape_module, "_MOST_BLOCKS", 3)
    monkeypatch.setattr(GrowingWave, "write", lambda *given: may_write.wait(30.0) and write(*given))
    recorder = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2)
    for level in range(1, 9):
        recorder.record_frames(np.full((100, 2), level, np.float32))
    may_write.set()
    while not recorder._frames.empty():
        time.sleep(0.01)
    recorder.record_frames(np.full((100, 2), 9, np.float32))
    recorder.close()
    heard, _ = soundfile.read(tmp_path / "heard.wav", dtype="float32")
    levels = heard[::100, 0].tolist()

    assert "the disk was too slow" in recorder.fault
    assert len(heard) == 900
    assert levels in ([1, 2, 3, 4, 0, 0, 0, 0, 9], [1, 2, 3, 0, 0, 0, 0, 0, 9])


@pytest.mark.parametrize("channels", [1, 2, 6])
def test_a_wav_is_as_the_library_reads_and_our_own_checker_walks_it(tmp_path, channels):
    frames = np.random.default_rng(3).normal(0.0, 0.7, (70_001, channels)).astype(np.float32)
    recorder = AudioRecorder(tmp_path / "heard.wav", 96_000, channels)
    recorder.record_frames(frames)
    recorder.close()
    info = soundfile.info(tmp_path / "heard.wav")
    heard, _ = soundfile.read(tmp_path / "heard.wav", dtype="float32", always_2d=True)
    with (tmp_path / "heard.wav").open("rb") as file:
        wave = walk(file)

    assert (info.format, info.subtype, info.samplerate, info.frames) == ("WAV", "FLOAT", 96_000, 70_001)
    assert wave.form_size + 8 == wave.file_size == (tmp_path / "heard.wav").stat().st_size
    np.testing.assert_array_equal(heard, frames)


def test_what_outgrows_a_wav_becomes_rf64_and_every_frame_is_there(tmp_path, monkeypatch):
    """EBU Tech 3306 §3.2: RIFF becomes RF64 and the chunk kept in front ds64, here past 40 kB for 4 GiB."""
    monkeypatch.setattr(growing, "LONGEST_FORM_BYTES", 40_000)
    frames = np.random.default_rng(4).normal(0.0, 0.7, (9_000, 2)).astype(np.float32)
    recorder = AudioRecorder(tmp_path / "heard.wav", 1_000, 2)
    for place in range(0, 9_000, 500):
        recorder.record_frames(frames[place : place + 500])
    recorder.close()
    heard, _ = soundfile.read(tmp_path / "heard.wav", dtype="float32")
    with (tmp_path / "heard.wav").open("rb") as file:
        wave = walk(file)

    assert (wave.form, wave.data.size, recorder.fault) == (b"RF64", 9_000 * 8, "")
    assert soundfile.info(tmp_path / "heard.wav").format == "RF64"
    np.testing.assert_array_equal(heard, frames)


def test_a_real_wav_goes_on_past_4_gib(tmp_path):
    """Sparse: all but the first and the last second is a hole in the file."""
    (tmp_path / "heard.wav").touch()
    wave = GrowingWave(tmp_path / "heard.wav", RATE_HZ, 2)
    first, last = (np.full((RATE_HZ, 2), level, np.float32) for level in (0.25, 0.5))
    wave.write(first)
    wave._frames += 600_000_000
    wave.write(last)
    wave.close()

    with soundfile.SoundFile(tmp_path / "heard.wav") as heard:
        assert (heard.format, heard.frames) == ("RF64", 600_000_000 + 2 * RATE_HZ)
        assert (heard.read(RATE_HZ, dtype="float32") == first).all()
        heard.seek(600_000_000 + RATE_HZ)
        assert (heard.read(dtype="float32") == last).all()


def test_a_format_with_32_bit_sizes_ends_with_a_word_before_they_do(tmp_path, monkeypatch):
    monkeypatch.setattr(tape_module, "_LIMIT_BYTES", 20_000)
    recorder = AudioRecorder(tmp_path / "heard.aiff", RATE_HZ, 2)
    for _ in range(5):
        recorder.record_frames(np.ones((1_000, 2), np.float32))
    recorder.close()

    assert soundfile.info(tmp_path / "heard.aiff").frames == 2_000
    assert recorder.fault == f"{tmp_path}/heard.aiff is incomplete: AIFF ends at 4 GiB; use .wav."


def test_a_run_that_is_killed_leaves_a_wav_that_can_be_read(tmp_path):
    """All but the last second of sound at most."""
    code = (
        "import os, signal, sys; from pathlib import Path; import numpy as np\n"
        "from sidecar.run.audio_recorder import AudioRecorder\n"
        "recorder = AudioRecorder(Path(sys.argv[1]), 48_000, 2)\n"
        "for _ in range(25): recorder.record_frames(np.ones((4_800, 2), np.float32))\n"
        "while not recorder._frames.empty(): pass\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    killed = subprocess.run([sys.executable, "-c", code, tmp_path / "heard.wav"], check=False)
    heard, _ = soundfile.read(tmp_path / "heard.wav", dtype="float32")

    assert killed.returncode == -9
    assert len(heard) >= 24 * 4_800 - RATE_HZ
    assert (heard == 1.0).all()
