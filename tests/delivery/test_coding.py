"""True peak after lossy coding, against copies that are coded by hand, and another sample rate in blocks."""

import json
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

from sidecar.cli import main
from sidecar.delivery.judge.coding_note import coding_note
from sidecar.delivery.measure.coding import CODERS, coded
from sidecar.delivery.measure.resampling import resampled
from sidecar.delivery.measure.whole_file import measure
from sidecar.settings.goals import load_goal

RATE_HZ = 48_000


def clipped_noise(seconds=2.0, channels=2, rate_hz=RATE_HZ):
    """Noise limited hard at −1 dBFS: what no coder can give back without overshoot."""
    noise = np.random.default_rng(7).standard_normal((round(seconds * rate_hz), channels))
    return np.clip(0.5 * noise, -0.891, 0.891).astype(np.float32)


@pytest.mark.slow
def test_the_peaks_are_those_of_a_copy_that_is_coded_and_decoded_by_hand(tmp_path):
    path = tmp_path / "mix.wav"
    sound = clipped_noise()
    soundfile.write(path, sound, RATE_HZ, "FLOAT")
    by_name = {one.coder: one for one in coded(path, None)}

    assert by_name.keys() == {"MP3", "Vorbis", "Opus"}
    for coder in CODERS:
        copy, mode = tmp_path / coder.name, {}
        if coder.bit_rate_mode:
            mode = {"bitrate_mode": coder.bit_rate_mode}
        with soundfile.SoundFile(
            copy, "w", RATE_HZ, 2, coder.subtype, format=coder.format, compression_level=coder.level, **mode
        ) as target:
            for start in range(0, len(sound), 16_384):
                target.write(sound[start : start + 16_384])
        decoded, _ = soundfile.read(copy, dtype="float64")
        true_peak = np.abs(resample_poly(decoded, 16, 1, axis=0)).max()
        found = by_name[coder.name]

        assert found.true_peak_dbtp == pytest.approx(20 * np.log10(true_peak), abs=0.1), coder.name
        assert found.true_peak_dbtp > -0.5, "limited noise overshoots in every coder"


@pytest.mark.slow
@pytest.mark.parametrize(("name", "rate"), [("MP3", 192.0), ("Opus", 128.0)])
def test_the_stated_bit_rate_is_the_one_that_is_written(tmp_path, name, rate):
    """Two channels; with what a container adds to five seconds."""
    path = tmp_path / "mix.wav"
    soundfile.write(path, clipped_noise(5.0), RATE_HZ, "PCM_24")
    (found,) = [one for one in coded(path, None) if one.coder == name]

    assert found.kbit_per_s == pytest.approx(rate, rel=0.03)


@pytest.mark.parametrize(
    ("rate_hz", "channels", "expected"),
    [
        (44_100, 2, {"MP3": 44_100, "Vorbis": 44_100, "Opus": 48_000}),
        (96_000, 1, {"MP3": 48_000, "Vorbis": 96_000, "Opus": 48_000}),
        (88_200, 2, {"MP3": 44_100, "Vorbis": 88_200, "Opus": 48_000}),
        (48_000, 6, {"Vorbis": 48_000, "Opus": 48_000}),
    ],
)
def test_each_coder_gets_a_rate_and_channels_that_it_takes(tmp_path, rate_hz, channels, expected):
    path = tmp_path / "mix.wav"
    soundfile.write(path, clipped_noise(1.0, channels, rate_hz), rate_hz, "PCM_16")

    assert {one.coder: one.sample_rate for one in coded(path, None)} == expected


@pytest.mark.parametrize(("rate_hz", "to_hz"), [(44_100, 48_000), (96_000, 48_000), (88_200, 44_100)])
@pytest.mark.parametrize("length", [1, 63, 5_000, 12_345])
def test_another_rate_in_blocks_is_that_of_the_whole(rate_hz, to_hz, length):
    sound = clipped_noise(1.0)[:length]
    blocks = np.array_split(sound, [7, 7, 100, 3_000, 3_001])
    pieces = np.concatenate(list(resampled(blocks, 2, rate_hz, to_hz)))
    whole = resample_poly(sound, to_hz, rate_hz, axis=0)

    assert pieces.shape == whole.shape
    assert np.abs(pieces - whole).max() < 1e-6


@pytest.mark.slow
def test_the_note_says_how_much_lower_it_would_have_to_be(tmp_path):
    path = tmp_path / "mix.wav"
    soundfile.write(path, clipped_noise(), RATE_HZ, "PCM_24")
    made = coded(path, None)
    before = measure(path).reading.max_true_peak
    note = coding_note(made, before, load_goal("r128"))
    fits = coding_note(made, before, replace(load_goal("r128"), ceiling_dbtp=20.0))

    assert note.kind == "note"
    assert "after MP3 at 192 kbit/s" in note.sentence
    assert "Other encoders and bit rates differ. EBU Tech 3343 §11.2.3" in note.sentence
    assert "dB less would bring it under −1.0 dBTP there" in note.sentence
    assert "dB less" not in fits.sentence


def test_the_command_prints_it(tmp_path, capsys):
    path = tmp_path / "mix.wav"
    soundfile.write(path, clipped_noise(1.0), RATE_HZ, "PCM_24")
    main(["check", "--encoded", "--json", str(path)])
    (outcome,) = json.loads(capsys.readouterr().out)

    assert [one["coder"] for one in outcome["encoded"]] == ["MP3", "Vorbis", "Opus"]
    assert any(detail["about"] == "coding" for detail in outcome["details"])


def test_a_copy_that_cannot_be_written_is_said(tmp_path, monkeypatch, capsys):
    path = tmp_path / "mix.wav"
    soundfile.write(path, clipped_noise(1.0), RATE_HZ, "PCM_24")
    monkeypatch.setattr("sidecar.delivery.measure.coding.TemporaryDirectory", NoFolder)

    assert main(["check", "--encoded", str(path)]) == 2
    assert "cannot be coded as MP3 in /no/such/folder" in " ".join(capsys.readouterr().out.split())


class NoFolder:
    def __init__(self, prefix):
        pass

    def __enter__(self):
        return "/no/such/folder"

    def __exit__(self, *_):
        return None


@pytest.mark.slow
def test_memory_does_not_grow_with_the_file(tmp_path):
    """45 seconds, which are 16 MB of samples, take no more than 10 MB over what five seconds take."""
    code = (
        "import resource, sys\nfrom pathlib import Path\nfrom sidecar.delivery.measure.coding import coded\n"
        "coded(Path(sys.argv[1]), None)\nprint(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    peaks_kb = []
    for fives in (1, 9):
        path = tmp_path / f"{fives}.wav"
        with soundfile.SoundFile(path, "w", 44_100, 2, "PCM_16") as file:
            for _ in range(fives):
                file.write(clipped_noise(5.0, 2, 44_100))
        done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True, check=True)
        peaks_kb.append(int(done.stdout))

    assert peaks_kb[1] < peaks_kb[0] + 10_000
