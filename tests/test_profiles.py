"""Earlier passes on disk: the last one heard, or a file of the mix."""

import json

import numpy as np
import pytest
import soundfile

from sidecar import locations, profiles
from sidecar.advice.counsel import Earlier
from sidecar.cli import main
from sidecar.errors import SettingsError, SourceError

RATE_HZ = 48_000


@pytest.fixture(autouse=True)
def own_folder(monkeypatch, tmp_path):
    monkeypatch.setattr(profiles, "data_folder", lambda: tmp_path / "data")
    return tmp_path / "data"


@pytest.fixture
def mix(tmp_path):
    """90 s: noise that is 6 dB louder in its last half minute."""
    rng = np.random.default_rng(11)
    gain = np.repeat([0.03, 0.03, 0.06], 30 * RATE_HZ)[:, None]
    soundfile.write(
        tmp_path / "mix.wav", rng.standard_normal((90 * RATE_HZ, 2)) * gain, RATE_HZ, subtype="FLOAT"
    )
    return tmp_path / "mix.wav"


def test_a_pass_that_is_kept_is_the_last_one():
    """What is read is what was written."""
    profiles.save_last(Earlier("evening", np.arange(700.0)))
    read = profiles.load_earlier("last")

    assert ("evening", 70.0) == (read.title, read.seconds)
    assert np.array_equal(np.arange(700.0), read.energies)


def test_without_a_last_pass_the_person_is_told_what_to_do():
    """One sentence, no traceback."""
    with pytest.raises(SettingsError, match="at least a minute"):
        profiles.load_earlier("last")


def test_a_last_pass_that_is_damaged_is_said_to_be(own_folder):
    """The file is named so that it can be deleted."""
    own_folder.mkdir()
    (own_folder / "last-pass.npz").write_bytes(b"torn")

    with pytest.raises(SettingsError, match=r"last-pass\.npz"):
        profiles.load_earlier("last")


def test_a_folder_that_takes_nothing_costs_only_the_memory(own_folder):
    """A file stands where the folder should be: the run ends well all the same."""
    own_folder.write_text("in the way")
    profiles.save_last(Earlier("evening", np.arange(700.0)))

    with pytest.raises(SettingsError):
        profiles.load_earlier("last")


def test_a_file_of_the_mix_serves_as_earlier_pass(mix):
    """Its energies are those of the meter, one each 100 ms."""
    earlier = profiles.load_earlier(str(mix))

    assert ("mix.wav", 90.0) == (earlier.title, earlier.seconds)
    assert pytest.approx(6.0, abs=0.2) == 10 * np.log10(
        earlier.energies[700:].mean() / earlier.energies[:500].mean()
    )


def test_a_profile_that_cannot_be_read_is_refused(tmp_path):
    """As any other file."""
    with pytest.raises(SourceError):
        profiles.load_earlier(str(tmp_path / "none.wav"))


def test_the_second_run_knows_what_is_coming(mix, capsys):
    """The first pass is kept; the second one, with it, heads for the target from the middle on."""
    run = ["live", "--file", str(mix), "--pace", "fast", "--no-screen", "--json", "--osc-port", "0"]
    assert 0 == main(run)
    capsys.readouterr()
    assert 0 == main([*run, "--profile", "last"])
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
