"""Earlier passes on disk: the last one heard, or a file of the mix."""

import json
import re

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.errors import RecordError, SourceError
from sidecar.journal.record import FaderReport, Pass
from sidecar.journal.schema import usual_file
from sidecar.journal.writer import Journal
from sidecar.model.readings import Reading
from sidecar.run import earlier_passes
from sidecar.settings import locations
from sidecar.settings.goals import load_goal

RATE_HZ = 48_000


@pytest.fixture
def mix(tmp_path):
    """90 s: noise that is 6 dB louder in its last half minute."""
    rng = np.random.default_rng(11)
    gain = np.repeat([0.03, 0.03, 0.06], 30 * RATE_HZ)[:, None]
    soundfile.write(
        tmp_path / "mix.wav", rng.standard_normal((90 * RATE_HZ, 2)) * gain, RATE_HZ, subtype="FLOAT"
    )
    return tmp_path / "mix.wav"


def test_the_last_pass_is_taken_as_it_would_be_at_a_fader_of_0_db():
    """Half of it was heard 6 dB down, and was said to be: the material is the same all the way."""
    journal = Journal.open()
    kept = journal.begin(Pass("evening", RATE_HZ, "stereo", load_goal("r128")))
    kept.add_fader_report(FaderReport(0.0, 0.0, is_position=True))
    kept.add_blocks(np.full(400, 1e-3), np.full(400, -9.0), np.full(400, -30.0), 0.0, Reading(seconds=40.0))
    kept.add_fader_report(FaderReport(40.0, -6.0, is_position=True))
    quiet = np.full(300, 1e-3 * 10**-0.6)
    kept.add_blocks(quiet, np.full(300, -15.0), np.full(300, -36.0), -6.0, Reading(seconds=70.0))
    kept.close_pass()
    journal.close()
    read = earlier_passes.load_earlier("last")

    assert (read.title, read.seconds) == ("the pass of evening", 70.0)
    np.testing.assert_allclose(read.energies, 1e-3, rtol=1e-6)


def test_without_a_last_pass_the_person_is_told_what_to_do():
    """One sentence, no traceback."""
    with pytest.raises(RecordError, match="a minute or more"):
        earlier_passes.load_earlier("last")


def test_a_record_that_is_damaged_is_said_to_be():
    """The file is named so that it can be moved away."""
    usual_file().parent.mkdir(parents=True)
    usual_file().write_bytes(b"torn" * 1000)

    with pytest.raises(RecordError, match=re.escape(usual_file().name)):
        earlier_passes.load_earlier("last")


@pytest.mark.slow
def test_a_file_of_the_mix_serves_as_earlier_pass(mix):
    """Its energies are those of the meter, one each 100 ms."""
    earlier = earlier_passes.load_earlier(str(mix))

    assert (earlier.title, earlier.seconds) == ("mix.wav", 90.0)
    assert 10 * np.log10(earlier.energies[700:].mean() / earlier.energies[:500].mean()) == pytest.approx(
        6.0, abs=0.2
    )


def test_an_earlier_pass_that_cannot_be_read_is_refused(tmp_path):
    """As any other file."""
    with pytest.raises(SourceError):
        earlier_passes.load_earlier(str(tmp_path / "none.wav"))


@pytest.mark.slow
def test_the_second_run_knows_what_is_coming(mix, capsys):
    """The first pass is kept; the second one, with it, heads for the target from the middle on."""
    run = ["live", "--file", str(mix), "--pace", "fast", "--no-screen", "--json", "--osc-port", "0"]
    assert main(run) == 0
    capsys.readouterr()
    assert main([*run, "--earlier", "last"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    moves = [
        line for line in lines if line["type"] == "move" and line["this_pass"] and 40 < line["seconds"] < 55
    ]

    assert moves
    assert all(pytest.approx(-23.0, abs=0.25) == move["landing_lufs"] for move in moves)
    assert all(move["landing_high_lufs"] - move["landing_low_lufs"] < 1.0 for move in moves)


def test_the_data_folder_is_the_persons_own():
    """It lies where the platform keeps such things, not beside the program."""
    assert "loudness-sidecar" in str(locations.data_folder())
