"""One file of an archive: measured as a check measures it, or reported, whatever it is."""

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sidecar.delivery.batch import work
from sidecar.delivery.batch.packing import unpack
from sidecar.delivery.batch.work import Job, Kept, measured
from sidecar.delivery.judge.checking import Unread, check_file
from sidecar.settings.goals import load_goal
from sidecar.wave.bext import Claimed
from sidecar.wave.bext_write import prepare, stamp
from sidecar.wave.file_identity import FileIdentity

GOALS = (load_goal("r128"), load_goal("a85"))
JOB = Job(None, GOALS, "meter")


def test_what_is_kept_is_what_a_check_finds(tmp_path):
    """Figures, notes from the file's own claims, verdict and identity."""
    path = tmp_path / "mix.wav"
    t = np.arange(48_000 * 4) / 48_000
    tone = 10 ** (-23 / 20) * np.sin(2 * np.pi * 1000 * t)  # Tech 3341 §2.9: reads −23 LUFS
    soundfile.write(path, np.stack([tone, tone], axis=1), 48_000)
    stamp(path, Claimed(-20.0, 6.0, -1.0, -14.0, -18.0), prepare(path))
    checked = check_file(str(path), None, GOALS)
    kept = measured(str(path), JOB)
    assert isinstance(kept, Kept)
    figures, claims, _ = unpack(kept.file, kept.figures, kept.history)

    assert checked.measured == figures
    assert [claim.about for claim in claims] == ["claims"]
    assert claims[0] in checked.verdicts[0].findings
    assert (checked.passes, FileIdentity.of(path.stat())) == (kept.passes, kept.seen)
    assert pytest.approx(kept.integrated_lufs, abs=0.1) == -23.0
    assert pytest.approx(kept.seconds) == 4.0


def test_what_is_no_file_is_told_of_and_not_waited_for(tmp_path):
    """A pipe, a device, a folder, a link that leads nowhere, a link in a ring, nothing at all."""
    os.mkfifo(tmp_path / "pipe.wav")
    (tmp_path / "gone.wav").symlink_to("away.wav")
    (tmp_path / "ring.wav").symlink_to("ring.wav")
    for path, said in (
        (tmp_path / "pipe.wav", "is a pipe or a device"),
        (Path("/dev/zero"), "is a pipe or a device"),
        (tmp_path, "is a folder, not a sound file"),
        (tmp_path / "gone.wav", "is a link to away.wav, which does not exist"),
        (tmp_path / "ring.wav", "is a link to itself"),
        (tmp_path / "none.wav", "There is no file"),
    ):
        result = measured(str(path), JOB)
        assert isinstance(result, Unread)
        assert said in result.error


def test_a_fault_that_nobody_thought_of_is_told_of_its_file(monkeypatch):
    """The run goes on."""

    def fail(*_arguments, **_options):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(work, "check_file", fail)

    assert Unread(
        __file__, f"{__file__} cannot be measured (ZeroDivisionError: division by zero)."
    ) == measured(__file__, JOB)
