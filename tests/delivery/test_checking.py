"""A proof is of the file that was measured, and of no other."""

import numpy as np
import pytest
import soundfile

from sidecar.delivery.judge.checking import check_file, known_by
from sidecar.errors import SourceError
from sidecar.settings.goals import load_goal

GOAL = load_goal("r128")


@pytest.fixture
def path(tmp_path):
    frames = 0.05 * np.random.default_rng(3).standard_normal((48_000 * 5, 2))
    soundfile.write(tmp_path / "mix.wav", frames, 48_000)
    return tmp_path / "mix.wav"


def test_a_file_that_is_still_being_written_is_refused(path):
    """More is appended while it is measured, as by an export that goes on."""

    def append(_share):
        with path.open("ab") as file:
            file.write(bytes(1000))

    with pytest.raises(SourceError, match=r"mix\.wav changed during the measurement"):
        check_file(str(path), None, [GOAL], append)


def test_no_fingerprint_is_given_of_another_file(path):
    """The file is replaced between measuring and proving."""
    checked = check_file(str(path), None, [GOAL])
    assert path.stat().st_size == known_by(checked).size_bytes
    content = path.read_bytes()
    path.unlink()
    path.with_name("new").write_bytes(content)
    path.with_name("new").rename(path)

    with pytest.raises(SourceError, match="changed during the measurement"):
        known_by(checked)


def test_a_file_that_is_gone_is_said(path):
    """It was there to measure and is not there to prove."""
    checked = check_file(str(path), None, [GOAL])
    path.unlink()

    with pytest.raises(SourceError, match="cannot be read again: No such file"):
        known_by(checked)
