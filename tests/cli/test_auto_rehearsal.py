"""The whole promise in one run: the sidecar follows its own advice at a workstation's fader, over real OSC,
and the delivery is proved on what was heard."""

import json
import subprocess
import sys

import pytest
import soundfile

from sidecar.settings.goals import load_goal

pytestmark = pytest.mark.slow


def sidecar(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "sidecar", *arguments],
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
    )


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """The rehearsal, twelve times faster than real, armed; its lines, and the file of what was heard."""
    heard = tmp_path_factory.mktemp("heard") / "heard.wav"
    run = sidecar(
        *("rehearse", "--auto", "--pace", "12", "--no-screen", "--json"),
        *("--osc-port", "0", "--write", str(heard)),
    )
    assert (run.returncode, run.stderr) == (0, "")
    return [json.loads(line) for line in run.stdout.splitlines()], heard


def test_the_pass_that_plays_lands_inside_the_tolerance(run):
    """EBU R 128 h), i): measured on the file, by another command."""
    _, heard = run
    check = sidecar("check", "--json", "--goal", "r128", str(heard))
    [found] = json.loads(check.stdout)
    goal = load_goal("r128")

    assert found["passes"], found["findings"]
    assert goal.lowest_lufs - 0.05 <= found["integrated_lufs"] <= goal.highest_lufs + 0.05
    assert found["max_true_peak_dbtp"] <= goal.ceiling_dbtp
    assert check.returncode == 0


def test_left_alone_it_would_not_have(run):
    """The fader had to move: test_rehearsal_programme.py measures −20.5 LUFS with it at 0 dB, 2.3 LU over the
    tolerance. What was heard is the whole programme."""
    lines, heard = run
    faders_db = [line["fader_db"] for line in lines if line["type"] == "reading"]

    assert soundfile.info(heard).duration == 240.0
    assert faders_db[0] == 0.0
    assert min(faders_db) < -1.0


def test_no_step_of_the_fader_is_a_jump(run):
    """Up goes 1 dB a second at most, and never far: ears and loudspeakers (safety limits of our own)."""
    lines, _ = run
    history = [(line["seconds"], line["fader_db"]) for line in lines if line["type"] == "reading"]
    rises = [
        (after_db - before_db) / (after_s - before_s)
        for (before_s, before_db), (after_s, after_db) in zip(history, history[10:], strict=False)
        if after_s > before_s
    ]

    assert max(rises) <= 1.3  # positions leave and arrive in steps
    assert max(db for _, db in history) <= 6.0
