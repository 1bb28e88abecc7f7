"""A disk that fills up under a whole run: it is said, measuring goes on, and then the record does."""

import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from live_run import LiveRun

sys.path.append(str(Path(__file__).parents[1] / "journal"))

from small_disk import SmallDisk

from sidecar.journal import reader

pytestmark = pytest.mark.slow

RATE_HZ = 48_000


@pytest.fixture
def disk(tmp_path, monkeypatch):
    """Where the record is kept, and nothing else."""
    folder = tmp_path / "disk"
    folder.mkdir()
    made = SmallDisk(folder)
    made.mount()
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    yield made
    made.unmount()


def test_a_full_disk_is_said_and_measuring_goes_on(disk, tmp_path):
    """The notice is in the lines; once there is room the record has no hole."""
    file = tmp_path / "noise.wav"
    noise = np.random.default_rng(6).standard_normal((60 * RATE_HZ, 2)) * 0.1
    soundfile.write(file, noise, RATE_HZ, subtype="FLOAT")
    with LiveRun("live", "--file", str(file)) as run:
        run.wait_for(lambda line: line["type"] == "reading" and line["seconds"] > 2.0)
        disk.fill()
        full = run.wait_for(lambda line: line["type"] == "notice" and "disk" in line["text"])
        on = run.wait_for(lambda line: line["seconds"] > full.line["seconds"] + 2.0)
        disk.make_room()
        run.wait_for(lambda line: line["type"] == "notice" and not line["text"])
        code, errors = run.end()
    kept = reader.latest()

    assert "The record has stopped: " in full.line["text"]
    assert "The measurement continues." in full.line["text"]
    assert on.at_s - full.at_s < 30.0
    assert (code, errors) == (0, "")
    assert kept.missing == ()
    assert kept.summary.ended is not None
    assert kept.summary.blocks / 10 == pytest.approx(run.lines("reading")[-1]["seconds"], abs=0.11)
