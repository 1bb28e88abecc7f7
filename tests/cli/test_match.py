"""``sidecar match`` and ``sidecar stamp`` as a person and a script meet them."""

import json
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.cli.commands import match as match_command
from sidecar.cli.commands import stamp as stamp_command

RATE_HZ = 48_000


def tone(level_db, seconds=5.0):
    """BS.1770-5 Annex 1: 997 Hz in phase on two channels reads its peak level in LUFS."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.repeat((10 ** (level_db / 20) * np.sin(2 * np.pi * 997 * t))[:, None], 2, axis=1)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path


def write(name, frames, **options):
    soundfile.write(name, frames, RATE_HZ, **{"subtype": "PCM_24"} | options)


def ran(capsys, *arguments):
    code = main(arguments)
    return code, *capsys.readouterr()


def ran_json(capsys, command, *arguments):
    code, out, _ = ran(capsys, command, "--json", *arguments)
    return code, json.loads(out)


def bext_fields(name):
    """The five int16 where Tech 3285 v2.0 puts them, found without the project's code."""
    content = Path(name).read_bytes()
    return struct.unpack_from("<5h", content, content.index(b"bext") + 8 + 412)


def test_the_set_as_a_table(capsys, folder):
    """Gain, landing and peak of each, a caution where anything is raised, and exit code 0."""
    write("quiet.wav", tone(-30))
    write("loud[1].wav", tone(-18))
    code, out, _ = ran(capsys, "match", "quiet.wav", "loud[1].wav")

    quiet, loud = (line.split() for line in out.splitlines() if ".wav" in line and "✓" in line)
    assert code == 0
    assert [*quiet[:2], *quiet[3:]] == ["quiet.wav", "−30.0", "−30.0", "+7.00", "−23.0", "−23.0", "✓"]
    assert [*loud[:2], *loud[3:]] == ["loud[1].wav", "−18.0", "−18.0", "−5.00", "−23.0", "−23.0", "✓"]
    assert "Caution: raised gain can hurt ears and loudspeakers." in out


def test_no_caution_where_nothing_is_raised(capsys, folder):
    """A warning that is always shown is not read."""
    write("loud.wav", tone(-18))

    assert "Caution" not in ran(capsys, "match", "loud.wav")[1]


def test_scripts_find_the_caution_beside_the_json(capsys, folder):
    """On the error output: the standard output is one JSON array."""
    write("quiet.wav", tone(-30))
    _, out, err = ran(capsys, "match", "--json", "quiet.wav")

    assert len(json.loads(out)) == 1
    assert "Caution" in err


def test_the_limit_that_held_a_gain_is_named(capsys, folder):
    """One piece with a click near full scale: said in the table, in a sentence and by exit code 1."""
    frames = tone(-30)
    frames[RATE_HZ] = 0.7  # −3.1 dBFS
    write("clicks.wav", frames)
    code, out, _ = ran(capsys, "match", "clicks.wav")

    assert code == 1
    assert "✗ ceiling" in out
    assert "Bring the highest peaks down first: clicks.wav by" in " ".join(out.split())


def test_a_broken_or_silent_file_does_not_keep_the_others_from_being_matched(capsys, folder):
    """In the order asked for; 2 when one cannot be read, 1 when one has no loudness."""
    write("good.wav", tone(-30))
    write("silent.wav", tone(-100))
    (folder / "text.wav").write_text("no audio")
    code, (text, silent, good) = ran_json(capsys, "match", "text.wav", "silent.wav", "good.wav")

    assert (code, set(text)) == (2, {"file", "error"})
    assert (silent["gain_db"], silent["reaches_target"]) == (None, False)
    assert (good["gain_db"], good["reaches_target"]) == (7.0, True)
    assert ran(capsys, "match", "silent.wav", "good.wav")[0] == 1


def test_copies_are_written_and_measured(capsys, folder):
    """The copy's own loudness, to the hundredth, in the JSON and in its fields; the original untouched."""
    write("quiet.wav", tone(-30))
    before = (folder / "quiet.wav").read_bytes()
    code, (outcome,) = ran_json(capsys, "match", "--write", "new/folder", "quiet.wav")

    assert (0, before) == (code, (folder / "quiet.wav").read_bytes())
    assert outcome["written"] == "new/folder/quiet.wav"
    assert outcome["written_lufs"] == pytest.approx(-23.0, abs=0.05)
    assert round(100 * outcome["written_lufs"]) == bext_fields("new/folder/quiet.wav")[0]


def test_copies_never_replace_unasked(capsys, folder):
    """An earlier copy stays without --replace; an original stays with it; the others are written."""
    write("quiet.wav", tone(-30))
    write("other.wav", tone(-20))
    (folder / "out").mkdir()
    (folder / "out" / "quiet.wav").write_text("earlier")
    code, (quiet, other) = ran_json(capsys, "match", "--write", "out", "quiet.wav", "other.wav")

    assert code == 2
    assert "--replace" in quiet["error"]
    assert (folder / "out" / "quiet.wav").read_text() == "earlier"
    assert other["written"] == "out/other.wav"
    assert ran(capsys, "match", "--write", "out", "--replace", "quiet.wav", "other.wav")[0] == 0
    code, (original,) = ran_json(capsys, "match", "--write", ".", "--replace", "quiet.wav")
    assert "is an original" in original["error"]


def test_the_reference_is_never_replaced_either(capsys, folder):
    """It was only asked for its loudness."""
    (folder / "out").mkdir()
    write("out/mix.wav", tone(-20))
    write("mix.wav", tone(-30))
    code, (outcome,) = ran_json(
        capsys, "match", "--like", "out/mix.wav", "--write", "out", "--replace", "mix.wav"
    )

    assert code == 2
    assert "is an original" in outcome["error"]


def test_a_sequence_with_a_piece_that_cannot_be_read_is_not_written(capsys, folder):
    """That one might have been the loudest: the gain is not known."""
    write("good.wav", tone(-30))
    (folder / "text.wav").write_text("no audio")
    code, (good, _) = ran_json(capsys, "match", "--sequence", "--write", "out", "good.wav", "text.wav")

    assert code == 2
    assert "needs all of its files" in good["off_goal"]
    assert list((folder / "out").iterdir()) == []


def test_a_reference_that_is_silent_or_missing_is_refused(capsys, folder):
    """Nothing can be matched to it."""
    write("silent.wav", tone(-100))
    write("good.wav", tone(-30))

    for reference, said in (("silent.wav", "no loudness to match"), ("none.wav", "There is no file")):
        code, _, err = ran(capsys, "match", "--like", reference, "good.wav")
        assert code == 2
        assert err.startswith("sidecar: ")
        assert said in err


def test_options_that_do_nothing_are_refused(capsys, folder):
    """--replace without --write; a folder that cannot be made."""
    write("good.wav", tone(-30))
    (folder / "file").write_text("")

    assert "--write" in ran(capsys, "match", "--replace", "good.wav")[2]
    assert "Name a folder" in ran(capsys, "match", "--write", "file/folder", "good.wav")[2]


def test_a_stamp_says_what_was_claimed_and_what_is_now(capsys, folder):
    """First nothing is claimed, then the figures; a second stamp finds them right and writes nothing."""
    write("mix.wav", tone(-23))
    code, (first,) = ran_json(capsys, "stamp", "mix.wav")
    stamped = (folder / "mix.wav").read_bytes()
    again_code, (again,) = ran_json(capsys, "stamp", "mix.wav")

    assert (code, again_code) == (0, 0)
    assert (first["claimed"], first["done"]) == (None, "copied")
    assert first["measured"]["integrated_lufs"] == pytest.approx(-23.0, abs=0.1)
    assert round(100 * first["measured"]["integrated_lufs"]) == bext_fields("mix.wav")[0]
    assert (first["measured"], "right already") == (again["claimed"], again["done"])
    assert stamped == (folder / "mix.wav").read_bytes()


def test_a_wrong_claim_is_put_right_in_place(capsys, folder):
    """Both are shown in the table, claim above measure."""
    write("mix.wav", tone(-23))
    main(["stamp", "mix.wav"])
    content = bytearray((folder / "mix.wav").read_bytes())
    place = content.index(b"bext") + 8 + 412
    content[place : place + 2] = struct.pack("<h", -1400)
    (folder / "mix.wav").write_bytes(content)
    capsys.readouterr()
    _, out, _ = ran(capsys, "stamp", "mix.wav")

    claimed, measures = (line.split() for line in out.splitlines() if "claimed" in line or "measures" in line)
    assert claimed[:3] == ["mix.wav", "claimed", "−14.00"]
    assert measures[1].startswith("−23.0")
    assert measures[-2:] == ["✓", "stamped"]
    assert pytest.approx(bext_fields("mix.wav")[0], abs=10) == -2300


def test_a_dry_run_writes_nothing(capsys, folder):
    """It says what it would."""
    write("mix.wav", tone(-23))
    before = (folder / "mix.wav").read_bytes()
    code, (outcome,) = ran_json(capsys, "stamp", "--dry-run", "mix.wav")

    assert (0, "to be written", before) == (code, outcome["done"], (folder / "mix.wav").read_bytes())


def test_with_a_goal_only_what_meets_it_is_stamped(capsys, folder):
    """The other is left alone, and exit code 1 says so."""
    write("right.wav", tone(-23))
    write("loud.wav", tone(-18))
    before = (folder / "loud.wav").read_bytes()
    code, (right, loud) = ran_json(capsys, "stamp", "--goal", "r128", "right.wav", "loud.wav")

    assert (code, right["done"], loud["done"]) == (1, "copied", "off goal")
    assert before == (folder / "loud.wav").read_bytes()


@pytest.mark.parametrize("name", ["mix.flac", "mix.aiff", "mix.ogg", "mix.w64", "none.wav"])
def test_other_files_are_never_touched(capsys, folder, name):
    """Only WAV, RF64 and BW64 have these fields; a WAV beside it is stamped all the same."""
    write("mix.wav", tone(-23))
    if name != "none.wav":
        write(name, tone(-23), subtype=None)
    before = {path: path.read_bytes() for path in folder.glob("mix.*") if path.suffix != ".wav"}
    code, (other, wave) = ran_json(capsys, "stamp", name, "mix.wav")

    assert (code, wave["done"]) == (2, "copied")
    assert name in other["error"]
    assert before == {path: path.read_bytes() for path in before}


def test_an_interrupted_stamp_is_told_and_put_right_by_the_next(capsys, folder):
    """A dry run only prints; a stamp clears what was left behind and goes on."""
    write("mix.wav", tone(-23))
    (folder / ".mix.wav.sidecar-undo").write_text('{"about": "cut o')
    dry_code, (dry,) = ran_json(capsys, "stamp", "--dry-run", "mix.wav")
    code, (outcome,) = ran_json(capsys, "stamp", "mix.wav")

    assert (dry_code, code, outcome["done"]) == (2, 0, "copied")
    assert "run sidecar stamp again" in dry["error"]
    assert [path.name for path in folder.glob("*mix*")] == ["mix.wav"]


@pytest.fixture(params=[match_command, stamp_command])
def written_to(request, monkeypatch):
    """A command whose first file is appended to, as by an export that goes on, while it is measured."""
    measure = request.param.measure

    def meanwhile(path, *arguments, **options):
        measured = measure(path, *arguments, **options)
        if path.name == "growing.wav":
            with path.open("ab") as file:
                file.write(bytes(1000))
        return measured

    monkeypatch.setattr(request.param, "measure", meanwhile)
    return request.param.__name__.rpartition(".")[2]


def test_a_file_that_changes_while_it_is_measured_is_refused(capsys, folder, written_to):
    """The other one is measured; what is said of the first would hold for no file there is."""
    for name in ("growing.wav", "done.wav"):
        write(name, tone(-23))
    more = ["--dry-run"] if written_to == "stamp" else []
    code, told = ran_json(capsys, written_to, *more, "growing.wav", "done.wav")

    assert code == 2
    assert told[0]["error"].startswith("growing.wav changed during the measurement. Run this again")
    assert "error" not in told[1]


def test_no_copy_is_made_of_a_file_that_changed_since_its_gain_was_worked_out(capsys, folder, monkeypatch):
    """It is exported anew between the measuring and the writing."""
    write("mix.wav", tone(-30))
    worked_out = match_command.match_singly

    def meanwhile(*arguments):
        levels = worked_out(*arguments)
        write("mix.wav", tone(-10, seconds=4.0))
        return levels

    monkeypatch.setattr(match_command, "match_singly", meanwhile)
    code, out, _ = ran(capsys, "match", "--write", "copies", "mix.wav")

    assert code == 2
    assert "mix.wav changed during the measurement" in out
    assert list(Path("copies").iterdir()) == []
