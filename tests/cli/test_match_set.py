"""A set of twelve awkward tracks, matched in every mode: each copy that exists passes a check."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sidecar.cli import main

RATE_HZ = 48_000


def noise(level_db, seconds=4, seed=1):
    frames = np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), 2))
    return frames * 10 ** (level_db / 20)


def with_peak(frames, peak):
    frames[RATE_HZ : RATE_HZ + 3] = peak
    return frames


def bad(frames):
    frames[100] = np.nan
    return frames


TRACKS = {
    "01 plain.wav": (noise(-20), "PCM_24"),
    "02 hot peak.wav": (with_peak(noise(-26), 0.99), "PCM_24"),
    "03 very hot.wav": (with_peak(noise(-40), 0.999), "PCM_24"),
    "04 wide range.flac": (np.concatenate([noise(-50, 8), noise(-14, 8), noise(-45, 8)]), "PCM_24"),
    "05 silence.wav": (np.zeros((RATE_HZ * 4, 2)), "PCM_16"),
    "06 eight bit.wav": (noise(-30), "PCM_U8"),
    "07 eight bit, quiet.wav": (noise(-40), "PCM_U8"),
    "08 over full scale.wav": (noise(-3), "FLOAT"),
    "09 not a number.wav": (bad(noise(-20)), "FLOAT"),
    "10 short.wav": (noise(-20, 0.5), "PCM_24"),
    "11 burst.aiff": (np.concatenate([noise(-58, 6), noise(-18, 1)]), "PCM_16"),
    "cd2/01 plain.wav": (noise(-33), "PCM_16"),
}


@pytest.fixture(scope="module")
def tracks(tmp_path_factory):
    folder = tmp_path_factory.mktemp("set") / "tracks"
    (folder / "cd2").mkdir(parents=True)
    for name, (frames, subtype) in TRACKS.items():
        soundfile.write(folder / name, frames, RATE_HZ, subtype=subtype)
    return folder


@pytest.fixture
def here(tracks, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "tracks").symlink_to(tracks)
    return tmp_path


def ran(capsys, *arguments):
    code = main(arguments)
    return code, capsys.readouterr().out


def ran_json(capsys, command, *arguments):
    code, out = ran(capsys, command, "--json", *arguments)
    return code, json.loads(out)


# What each mode can write of them: all but silence and damage, and what its goal leaves no room for.
MODES = [
    (("--goal", "r128"), 9),
    (("--goal", "aes-album"), 10),
    (("--goal", "premaster"), 8),
    (("--goal", "aes-album", "--sequence"), 10),
    (("--goal", "r128", "--sequence"), 0),
    (("--goal", "aes-track", "--together"), 10),
    (("--goal", "r128", "--together"), 0),
    (("--goal", "aes-album", "--like", "tracks/01 plain.wav"), 8),
    (("--goal", "r128", "--like", "tracks/01 plain.wav"), 0),
]


@pytest.mark.slow
@pytest.mark.parametrize(("options", "count"), MODES, ids=[" ".join(options) for options, _ in MODES])
def test_every_copy_that_exists_passes_a_check_for_its_goal(capsys, here, options, count):
    code, outcomes = ran_json(capsys, "match", *options, "--write", "out", "tracks")
    written = {outcome["file"]: outcome["written"] for outcome in outcomes if outcome["written"]}
    copies = sorted(str(path) for path in Path("out").rglob("*") if path.is_file())

    assert code == 1
    assert len(outcomes) == len(TRACKS)
    assert sorted(written.values()) == copies
    assert len(copies) == count
    assert all(source.replace("tracks/", "out/", 1) == copy for source, copy in written.items())
    for outcome in outcomes:
        assert bool(outcome["written"]) or outcome["broken"] or "off_goal" in outcome
    if copies:
        check_code, checked = ran_json(capsys, "check", "--goal", options[1], "out")
        assert check_code == 0
        assert [one["passes"] for one in checked] == [True] * count


def test_what_is_said_of_twelve_tracks_is_short(capsys, here):
    """Each thing once, however many files it holds for."""
    _, out = ran(capsys, "match", "--goal", "r128", "tracks")
    said = " ".join(out.partition("all in sequence")[2].split())

    assert said.count(". ") <= 10
    assert "Bring the highest peaks down first: 03 very hot.wav by" in said
    assert "Samples that are no numbers are in 09 not a number.wav (2)" in said
    assert "The loudest level for all together: −" in said


@pytest.mark.slow
def test_short_words_are_advised_to_become_longer(capsys, here):
    """Eight bits hold rounding and dither at about −43 LUFS: in a sequence far down a quiet track drowns."""
    _, out = ran(capsys, "match", "--goal", "aes-album", "--sequence", "--write", "out", "tracks")
    said = " ".join(out.split())

    assert "07 eight bit, quiet.wav by" in said
    assert "convert the originals to 24 bits first" in said
    assert "Measure the original again" not in said


def test_the_whole_set_stands_in_each_object(capsys, here):
    _, outcomes = ran_json(
        capsys, "match", "--goal", "aes-album", "tracks/01 plain.wav", "tracks/04 wide range.flac"
    )

    (first, second) = (outcome["set"] for outcome in outcomes)
    assert first == second
    assert set(first["programme"]) == {"integrated_lufs", "loudness_range_lu", "max_true_peak_dbtp"}
    assert first["programme_then"]["max_true_peak_dbtp"] <= -1.0
    assert first["together_limiting"] in {"tracks/01 plain.wav", "tracks/04 wide range.flac"}


def test_folders_patterns_and_lists_name_files_as_for_check(capsys, here):
    (here / "list.txt").write_text("tracks/cd2/01 plain.wav\ntracks/01 plain.wav\n")
    _, listed = ran_json(capsys, "match", "--list", "list.txt", "--write", "listed")
    _, matching = ran_json(capsys, "match", "tracks/**/01*.wav", "--write", "found")

    assert [one["written"] for one in listed] == ["listed/cd2/01 plain.wav", "listed/tracks/01 plain.wav"]
    assert [one["written"] for one in matching] == ["found/01 plain.wav", "found/cd2/01 plain.wav"]


def test_copies_inside_the_searched_folder_are_not_matched_again(capsys, here):
    (here / "masters").mkdir()
    shutil.copy(here / "tracks" / "01 plain.wav", here / "masters" / "a.wav")
    first, _ = ran_json(capsys, "match", "masters", "--write", "masters/levelled")
    again, outcomes = ran_json(capsys, "match", "masters", "--write", "masters/levelled", "--replace")

    assert (first, again) == (0, 0)
    assert [one["file"] for one in outcomes] == ["masters/a.wav"]


def test_a_file_that_is_named_twice_is_matched_once(capsys, here):
    code, outcomes = ran_json(capsys, "match", "tracks/cd2", "./tracks/cd2/01 plain.wav", "--write", "out")

    assert code == 0
    assert [one["written"] for one in outcomes] == ["out/01 plain.wav"]


def test_an_assumed_layout_is_a_note_for_all_files_that_need_it(capsys, here, tmp_path):
    surround = np.random.default_rng(1).standard_normal((RATE_HZ, 6)) * 0.05
    for name in ("a.wav", "b.wav"):
        soundfile.write(tmp_path / name, surround, RATE_HZ, subtype="PCM_24")
    _, outcomes = ran_json(capsys, "match", "a.wav", "b.wav")
    _, out = ran(capsys, "match", "a.wav", "b.wav")
    _, named = ran(capsys, "match", "--layout", "5.1", "a.wav", "b.wav")

    assert "a.wav, b.wav: It does not say which loudspeakers its channels feed;" in " ".join(out.split())
    assert [len(outcome["notes"]) for outcome in outcomes] == [1, 1]
    assert "loudspeakers" not in named


def test_no_file_at_all_is_said(capsys, here):
    (here / "empty").mkdir()

    assert main(["match", "empty"]) == 2
    assert "No sound file found" in capsys.readouterr().err


def test_together_has_a_loudness_of_its_own(capsys, here):
    assert main(["match", "--together", "--sequence", "tracks"]) == 2
    assert "--together finds its own loudness" in capsys.readouterr().err


def test_what_no_gain_corrects_is_said_and_not_written(capsys, here):
    """A delivery rule of the goal: a copy of 16 bits would not pass where 24 are asked for."""
    shipped = (Path(__file__).parents[2] / "configs" / "goals" / "r128.toml").read_text(encoding="utf-8")
    (here / "strict.toml").write_text(f"{shipped}\n[delivery]\nbit_depths = [24]\n", encoding="utf-8")
    code, (whole, short) = ran_json(
        capsys,
        "match",
        "--goal",
        "strict.toml",
        "--write",
        "out",
        "tracks/01 plain.wav",
        "tracks/cd2/01 plain.wav",
    )

    assert code == 1
    assert whole["written"] == "out/tracks/01 plain.wav"
    assert (short["written"], short["reaches_target"]) == (None, False)
    assert "the goal asks for 24" in short["off_goal"]
