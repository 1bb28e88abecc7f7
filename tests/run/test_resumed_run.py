"""A run that goes on with the one before: killed, resumed, and read as if nothing had been."""

import json
import os
import signal
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.journal import reader

RATE_HZ = 48_000


def in_halves(folder, seconds):
    """A programme of so long and its two halves: noise that swells, so that gates and range matter."""
    rng = np.random.default_rng(5)
    gain = np.repeat([0.01, 0.05, 0.02, 0.08], seconds * RATE_HZ // 4)[:, None]
    sound = rng.standard_normal((seconds * RATE_HZ, 2)) * gain
    first, second = np.split(sound, 2)
    for name, part in (("whole", sound), ("first", first), ("second", second)):
        soundfile.write(folder / f"{name}.wav", part, RATE_HZ, subtype="FLOAT")
    return folder


@pytest.fixture
def halves(tmp_path):
    """Of 4 s each."""
    return in_halves(tmp_path, 8)


def live(file, *more):
    return ["live", "--file", str(file), "--pace", "fast", "--no-screen", "--json", "--osc-port", "0", *more]


def last_reading(text):
    return [line for line in map(json.loads, text.splitlines()) if line["type"] == "reading"][-1]


@pytest.mark.slow
def test_two_halves_read_as_the_whole(tmp_path, capsys):
    """Tech 3341 §2.2: integrated, range and maxima go on; only the windows over the seam are left out."""
    halves = in_halves(tmp_path, 80)
    assert main(live(halves / "whole.wav", "--no-record")) == 0
    whole = last_reading(capsys.readouterr().out)
    assert main(live(halves / "first.wav")) == 0
    assert main(live(halves / "second.wav", "--resume")) == 0
    resumed = last_reading(capsys.readouterr().out)

    assert resumed["integrated_lufs"] == pytest.approx(whole["integrated_lufs"], abs=0.02)
    assert resumed["loudness_range_lu"] == pytest.approx(whole["loudness_range_lu"], abs=0.2)
    for name in ("max_momentary_lufs", "max_short_term_lufs", "max_true_peak_dbtp", "sample_peak_dbfs"):
        assert resumed[name] == pytest.approx(whole[name], abs=0.05)
    assert whole["seconds"] == resumed["seconds"]
    [kept] = reader.passes()
    assert (800, resumed["integrated_lufs"]) == (kept.blocks, round(kept.reading.integrated, 2))


@pytest.mark.slow
def test_a_killed_run_is_gone_on_with(tmp_path):
    """kill -9 in the middle of a rehearsal: what was on record is there, and the next run counts on."""
    rehearsal = subprocess.Popen(
        [sys.executable, "-m", "sidecar", "rehearse", "--pace=20", "--no-screen", "--json", "--osc-port=0"],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert rehearsal.stdout is not None
    for line in rehearsal.stdout:
        said = json.loads(line)
        if said["type"] == "reading" and said["seconds"] > 40.0:
            break
    os.kill(rehearsal.pid, signal.SIGKILL)
    rehearsal.communicate()
    [broken_off] = reader.passes()
    assert broken_off.ended is None
    assert broken_off.blocks > 150  # at twenty times real, a second on disk is twenty of programme
    resumed = subprocess.run(
        [
            *(sys.executable, "-m", "sidecar", "rehearse", "--pace", "fast", "--for", "5"),
            *("--no-screen", "--json", "--osc-port", "0", "--resume"),
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    readings = [line for line in map(json.loads, resumed.stdout.splitlines()) if line["type"] == "reading"]

    assert readings[0]["seconds"] == pytest.approx(broken_off.blocks / 10, abs=0.3)
    assert readings[0]["integrated_lufs"] == pytest.approx(broken_off.reading.integrated, abs=0.05)
    assert broken_off.reading.max_short_term <= readings[-1]["max_short_term_lufs"] + 0.01


@pytest.mark.slow
def test_nothing_to_go_on_with_is_said(halves, capsys):
    """One line, exit code 2."""
    assert main(live(halves / "first.wav", "--resume")) == 2
    assert "No pass on record to resume" in capsys.readouterr().err


@pytest.mark.slow
def test_another_input_is_not_taken_for_the_same_pass(halves, tmp_path, capsys):
    """Mono cannot go on with stereo; the pass on record stays as it was."""
    assert main(live(halves / "first.wav")) == 0
    soundfile.write(tmp_path / "mono.wav", np.zeros(RATE_HZ), RATE_HZ)
    assert main(live(tmp_path / "mono.wav", "--resume")) == 2

    assert "cannot be continued: it was 48000 Hz, stereo, and mono.wav is 48000 Hz, mono" in (
        capsys.readouterr().err
    )
    assert reader.passes()[0].blocks == 40


@pytest.mark.slow
def test_left_out_of_the_record_nothing_is_kept(halves, capsys):
    """``--no-record`` writes no pass."""
    assert main(live(halves / "first.wav", "--no-record")) == 0
    assert reader.passes() == []


@pytest.mark.slow
def test_the_goal_goes_on_unless_another_is_given(halves, capsys):
    """The verdict on record is on the goal that held last."""
    assert main(live(halves / "first.wav", "--goal", "premaster")) == 0
    assert main(live(halves / "second.wav", "--resume")) == 0
    kept = reader.passes()[0].about.goal.name
    assert main(live(halves / "second.wav", "--resume", "--goal", "a85")) == 0

    assert (kept, reader.passes()[0].about.goal.name) == ("premaster", "a85")


@pytest.mark.slow
def test_broken_samples_of_stems_are_counted_on(halves):
    """Those of the run before and those of this one."""
    sound = np.zeros((RATE_HZ, 4), np.float32)
    sound[100:110] = np.nan
    soundfile.write(halves / "stems.wav", sound, RATE_HZ, subtype="FLOAT")
    stems = ("--stems", "voice,music")
    assert main(live(halves / "stems.wav", *stems)) == 0
    assert main(live(halves / "stems.wav", *stems, "--resume")) == 0

    assert reader.passes()[0].reading.bad_samples == 80


@pytest.mark.slow
def test_a_record_that_the_disk_refuses_to_the_end_is_said(halves, monkeypatch, capfd):
    """A file is where the folder should be: everything is measured, and the loss is reported."""
    (halves / "taken").write_text("in the way")
    monkeypatch.setenv("XDG_DATA_HOME", str(halves / "taken"))
    assert main(live(halves / "first.wav")) == 0
    said = capfd.readouterr()

    assert '"transport": "ended"' in said.out
    assert "The record has stopped" in said.err


@pytest.mark.slow
def test_the_log_keeps_what_is_asked_for(halves, monkeypatch):
    """With --log-level error not even the line on what runs."""
    monkeypatch.setenv("XDG_STATE_HOME", str(halves / "state"))
    assert main(live(halves / "first.wav", "--log-level", "error")) == 0
    (log,) = (halves / "state").rglob("sidecar.log")

    assert log.read_text() == ""
