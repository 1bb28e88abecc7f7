"""``sidecar check`` as a script and a person meet it."""

import json
import re
import shutil

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator

from sidecar.cli import main

RATE_HZ = 48_000


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Where the files are; reports that are asked for by a bare name go there."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def tone(name, level_db=-23.0, seconds=5.0):
    """Tech 3341 §2.9: in phase on two channels it reads its peak level in LUFS."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    sine = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * t)
    soundfile.write(name, np.stack([sine, sine], axis=1), RATE_HZ)
    return name


def schema(capsys):
    assert main(["check", "--json-schema"]) == 0
    published = json.loads(capsys.readouterr().out)
    Draft202012Validator.check_schema(published)
    return Draft202012Validator(published)


def checked(capsys, *arguments):
    code = main(["check", "--json", *arguments])
    return code, json.loads(capsys.readouterr().out)


def test_what_is_printed_is_what_the_schema_promises(folder, capsys):
    """Loud, clipped, silent, short and unreadable files, held against one goal and against several."""
    valid = schema(capsys)
    noisy = np.clip(np.random.default_rng(1).standard_normal((RATE_HZ * 8, 2)), -1, 1)
    noisy[RATE_HZ * 2 : RATE_HZ * 4] = 0.0
    soundfile.write("clipped.wav", noisy, RATE_HZ)
    soundfile.write("silent.wav", np.zeros((RATE_HZ, 6)), RATE_HZ)
    files = [tone("right.wav"), tone("short.wav", seconds=0.2), "clipped.wav", "silent.wav", "none.wav"]
    code, one = checked(capsys, *files)
    _, several = checked(capsys, "--goal", "r128-s1", "--goal", "aes-track", *files)

    assert code == 2
    assert [error.message for printed in (one, several) for error in valid.iter_errors(printed)] == []
    assert {"clipping", "silence", "true peak"} <= {detail["about"] for detail in one[2]["details"]}


def test_the_schema_refuses_what_is_not_promised(folder, capsys):
    """It is strict: a missing verdict, a figure in words and an unknown member are all found."""
    valid = schema(capsys)
    _, (right,) = checked(capsys, tone("right.wav"))
    without = {name: value for name, value in right.items() if name != "passes"}

    assert valid.is_valid([right])
    assert not valid.is_valid([without])
    assert not valid.is_valid([{**right, "integrated_lufs": "loud"}])
    assert not valid.is_valid([{**right, "mood": "good"}])


def test_several_goals_have_a_verdict_each(folder, capsys):
    """The first on top, where one goal's verdict is; each in its order below; one failure fails all."""
    code, (spot,) = checked(
        capsys, "--goal", "r128", "--goal", "premaster", "--goal", "r128", tone("spot.wav")
    )

    assert code == 1
    assert (spot["goal"], spot["passes"], spot["move_db"]) == ("r128", True, 0.0)
    assert [(verdict["goal"], verdict["passes"], verdict["move_db"]) for verdict in spot["verdicts"]] == [
        ("r128", True, 0.0),
        ("premaster", False, 5.0),
    ]


def test_one_goal_has_no_list_of_verdicts(folder, capsys):
    """Its contract is as it always was."""
    assert "verdicts" not in checked(capsys, tone("right.wav"))[1][0]


def test_where_a_file_is_loudest_is_told(folder, capsys):
    """3 s of −17 dBFS from 4 s on: its window of 3 s ends at 7 s; the limit of R 128 s1 is passed there."""
    t = np.arange(10 * RATE_HZ) / RATE_HZ
    level_db = np.where((t >= 4) & (t < 7), -15.0, -30.0)
    sine = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * t)
    soundfile.write("burst.wav", np.stack([sine, sine], axis=1), RATE_HZ)
    _, (burst,) = checked(capsys, "--goal", "r128-s1", "burst.wav")
    (fault,) = [detail for detail in burst["details"] if detail["about"] == "short-term"]

    assert pytest.approx(burst["max_short_term_at_s"], abs=0.1) == 7.0
    assert pytest.approx(fault["spans"][0]["worst_s"], abs=0.1) == 7.0
    assert pytest.approx(fault["spans"][0]["worst"], abs=0.1) == -15.0
    assert "at 0:00:07.0" in fault["sentence"]


def test_reports_of_one_file_have_the_names_asked_for(folder, capsys):
    """A page, a picture and a table, said where they are."""
    asked = ["--report", "r.html", "--plot", "p.png", "--csv", "c.csv", "--by", "A. Mixer"]
    assert main(["check", *asked, tone("right.wav")]) == 0

    assert sorted(path.name for path in folder.iterdir()) == ["c.csv", "p.png", "r.html", "right.wav"]
    assert "A. Mixer" in (folder / "r.html").read_text(encoding="utf-8")
    assert "Written: r.html\nWritten: p.png\nWritten: c.csv\n" in capsys.readouterr().out


def test_reports_of_several_files_are_pages_with_an_index(folder, capsys):
    """Each link of the index leads to a page, and each page back to the index."""
    asked = ["--report", "r.html", "--csv", "c.csv", "--goal", "r128", "--goal", "a85"]
    assert main(["check", *asked, tone("a b.wav"), tone("loud.wav", -17.0), "none.wav"]) == 2
    index = (folder / "r.html").read_text(encoding="utf-8")

    assert re.findall(r'href="([^"]+)"', index) == ["r/a%20b.wav.html", "r/loud.wav.html"]
    assert sorted(path.name for path in (folder / "r").iterdir()) == ["a b.wav.html", "loud.wav.html"]
    assert sorted(path.name for path in (folder / "c").iterdir()) == ["a b.wav.csv", "loud.wav.csv"]
    assert 'href="../r.html"' in (folder / "r" / "loud.wav.html").read_text(encoding="utf-8")
    assert "none.wav" in index


def test_json_stays_json_when_reports_are_written(folder, capsys):
    """Nothing else goes to the standard output."""
    assert checked(capsys, "--report", "r.html", tone("right.wav"))[0] == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "No file given"),
        (("--report", "right.wav", "right.wav"), "--report right.wav must end in .html"),
        (("--plot", "no/p.png", "right.wav"), "there is no folder no"),
        (("--goal", "r128", "--goal", "nowhere", "right.wav"), "There is no goal 'nowhere'"),
    ],
)
def test_what_cannot_be_done_is_said_before_anything_is_measured(folder, capsys, arguments, said):
    """Exit code 2, one sentence, and the sound file is as it was."""
    tone("right.wav")
    before = (folder / "right.wav").read_bytes()

    assert main(["check", *arguments]) == 2
    assert said in capsys.readouterr().err
    assert before == (folder / "right.wav").read_bytes()


def test_the_table_fits_80_columns_and_findings_stand_below(folder, capsys, monkeypatch):
    """With a long name, several goals and long sentences; each file's findings under its name."""
    monkeypatch.setenv("COLUMNS", "80")
    shutil.copy(tone("loud.wav", -17.0), "a programme with a rather long name, final version 3 (mono).wav")
    main(["check", "--goal", "r128-s1", "--goal", "r128-live", *(str(f.name) for f in folder.iterdir())])
    said = capsys.readouterr().out

    assert max(map(len, said.splitlines())) <= 80
    assert "✗ r128-s1" in said
    assert "✗ r128-live" in said
    assert re.search(r"^loud\.wav\n✗ r128-s1: Too loud: ", said, re.MULTILINE)
    assert re.search(r"^→ r128-s1, r128-live: A gain of −6\.0 dB", said, re.MULTILINE)


def test_a_gain_that_raises_comes_with_a_caution(folder, capsys):
    """And one that lowers does not."""
    main(["check", tone("quiet.wav", -33.0)])
    raised = capsys.readouterr().out
    main(["check", tone("loud.wav", -17.0)])
    lowered = capsys.readouterr().out

    assert "A gain of +10.0 dB" in raised
    assert "Turn the monitors down before you play a raised file." in raised
    assert "monitors" not in lowered


def test_files_of_one_name_are_told_apart_and_notes_are_counted(folder, capsys):
    """In the table, above the findings, and in the index of a report."""
    for place in ("one", "two"):
        (folder / place).mkdir()
        tone(f"{place}/mix.wav")
    clipped = np.full((RATE_HZ, 2), 0.01)
    clipped[1000:1010] = 1.0
    soundfile.write("two/mix.wav", clipped, RATE_HZ)
    main(["check", "one", "two", "--report", "r.html"])

    shown = capsys.readouterr().out
    rows = [line.split() for line in shown.splitlines() if "/mix.wav  " in line]
    assert [row[-3:] for row in rows] == [["✓", "passes", "·1"], ["✗", "fails", "·4"]]  # all are dual mono
    index = (folder / "r.html").read_text(encoding="utf-8")
    assert "one/mix.wav</a> · 1 note</th>" in index
    assert "two/mix.wav</a> · 4 notes</th>" in index
