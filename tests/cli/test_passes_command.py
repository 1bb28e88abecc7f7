"""``sidecar passes``: the list, the exports, the forgetting."""

import csv
import json

import numpy as np
import pytest

from sidecar.cli import main
from sidecar.errors import OutputError
from sidecar.journal import reader, schema
from sidecar.journal.export import export
from sidecar.journal.record import FaderReport, Pass, StemBalance
from sidecar.journal.writer import Journal
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Event
from sidecar.settings.goals import load_goal


@pytest.fixture
def record(monkeypatch, tmp_path):
    """Two passes: one within R 128, with two stems and a mark; one that is too loud and has no end."""
    file = tmp_path / "passes.sqlite"
    monkeypatch.setattr(schema, "data_folder", lambda: tmp_path)
    journal = Journal(file, period_s=0.02)
    right = journal.begin(Pass("evening [live]", 48_000, "stereo", load_goal("r128"), ("voice", "music")))
    levels = np.array([-np.inf, -9.0, -8.0])
    stems = StemBalance(np.tile(np.diag([0.01, 0.0]), (3, 1, 1)), np.full((3, 2), -9.0), np.zeros((3, 2)))
    right.add_blocks(
        *(np.array([0.0, 0.01, 0.02]), levels, levels, 0.0),
        Reading(integrated=-23.04, max_true_peak=-8.0, true_peak=(-8.0,), seconds=0.3),
        stems,
    )
    right.event(Event(0.2, "marker", "=1+1"))
    right.close_pass()
    loud = journal.begin(Pass("loud", 48_000, "stereo", load_goal("r128")))
    ones = np.ones(5)
    loud.add_blocks(ones, ones, ones, 0.0, Reading(integrated=-20.0, max_true_peak=0.5, seconds=0.5))
    journal.close()
    return file


def refused(capsys, *arguments):
    assert main(["passes", *arguments]) == 2
    said = capsys.readouterr().err
    assert said.startswith("sidecar: ")
    return said


def test_the_list_says_what_each_pass_came_to(record, capsys, monkeypatch):
    """Source, loudness and verdict; a pass that broke off is marked."""
    monkeypatch.setenv("COLUMNS", "120")
    assert main(["passes"]) == 0
    said = capsys.readouterr().out

    assert "evening [live]" in said
    assert "−23.0" in said
    assert "✓ passes" in said
    assert "✗ loud, true peak (no end)" in said


def test_the_list_fits_80_columns(record, capsys, monkeypatch):
    """No verdict is cut off on a small terminal, and no goal is broken in two."""
    monkeypatch.setenv("COLUMNS", "80")
    main(["passes"])
    said = capsys.readouterr().out

    assert "✓ passes" in said
    assert "end)" in said
    assert said.count(" r128 ") == 2
    assert max(map(len, said.splitlines()[:-1])) <= 80


def test_the_list_speaks_json(record, capsys):
    """Names with units; the figures of the last reading; null for what is not there."""
    assert main(["passes", "--json"]) == 0
    right, loud = json.loads(capsys.readouterr().out)

    assert tuple(right[key] for key in ("id", "source", "goal", "passes", "broken_limits")) == (
        1,
        "evening [live]",
        "r128",
        True,
        [],
    )
    assert tuple(right[key] for key in ("integrated_lufs", "max_true_peak_dbtp", "sample_peak_dbfs")) == (
        -23.04,
        -8.0,
        None,
    )
    assert tuple(loud[key] for key in ("passes", "broken_limits", "ended_utc", "missing_s")) == (
        False,
        ["loud", "true peak"],
        None,
        0.0,
    )


def test_a_pass_is_exported_as_a_table(record, tmp_path, capsys):
    """A row each 100 ms. Silence is an empty cell; a label that looks like a formula is none."""
    assert main(["passes", "--export", "1", "--to", str(tmp_path / "out.csv")]) == 0
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))

    assert [row["seconds"] for row in rows] == ["0.1", "0.2", "0.3"]
    assert [row["block_lufs"] for row in rows] == ["", "-20.691", "-17.681"]
    assert [row["true_peak_dbtp"] for row in rows] == ["", "-9.0", "-8.0"]
    assert [row["events"] for row in rows] == ["", "", "marker: =1+1"]


def test_a_pass_is_exported_whole_as_json(record, tmp_path):
    """Figures, goal, events, history and stems, and no infinity that a strict reader chokes on."""
    main(["passes", "--export", "1", "--to", str(tmp_path / "out.json")])
    whole = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))

    assert whole["integrated_lufs"] == -23.04
    assert whole["goal"]["target_lufs"] == -23.0
    assert whole["events"] == [{"seconds": 0.2, "kind": "marker", "text": "=1+1"}]
    assert whole["history"]["block_lufs"] == [None, -20.691, -17.681]
    assert whole["stems"]["voice"]["block_lufs"] == [-20.691] * 3
    assert whole["stems"]["music"]["block_lufs"] == [None] * 3


def test_an_export_that_the_disk_does_not_take_leaves_the_old_one_whole(record, tmp_path, files_end_at):
    place = tmp_path / "out.json"
    place.write_text("yesterday")
    whole = reader.load(1, record)
    with files_end_at(512), pytest.raises(OutputError, match=r"out\.json cannot be written .File too large"):
        export(whole, place)

    assert place.read_text() == "yesterday"


def test_a_closed_fader_is_exported_as_null(monkeypatch, tmp_path):
    """Minus infinity is no number of JSON, wherever it was said."""
    monkeypatch.setattr(schema, "data_folder", lambda: tmp_path)
    journal = Journal(tmp_path / "passes.sqlite", period_s=0.02)
    heard = journal.begin(Pass("mix", 48_000, "stereo", load_goal("r128")))
    heard.add_fader_report(FaderReport(0.0, -np.inf, True))
    heard.add_blocks(np.ones(1), np.ones(1), np.ones(1), -np.inf, Reading())
    journal.close()
    assert main(["passes", "--export", "1", "--to", str(tmp_path / "pass.json")]) == 0
    (told,) = json.loads((tmp_path / "pass.json").read_text())["fader_reports"]

    assert told == {"at_s": 0.0, "value_db": None, "is_position": True, "stem": ""}


def test_a_pass_is_forgotten(record, capsys):
    """Only the other one is left."""
    assert main(["passes", "--delete", "1"]) == 0
    assert capsys.readouterr().out.endswith("Deleted: 1\n")
    main(["passes", "--json"])

    assert [line["id"] for line in json.loads(capsys.readouterr().out)] == [2]


def test_what_cannot_be_done_is_said_in_one_line(record, tmp_path, capsys):
    """A missing option, an unknown ending, a pass that is not there, a folder that is not there."""
    assert "--to" in refused(capsys, "--export", "1")
    assert ".csv or a .json" in refused(capsys, "--export", "1", "--to", "out.txt")
    assert "no pass 9" in refused(capsys, "--export", "9", "--to", str(tmp_path / "out.csv"))
    assert "no pass 9" in refused(capsys, "--delete", "9")
    assert "cannot be written" in refused(
        capsys, "--export", "1", "--to", str(tmp_path / "no" / "such" / "out.csv")
    )


def test_without_a_record_the_list_is_empty(monkeypatch, tmp_path, capsys):
    """Nothing was heard yet, and the look leaves nothing behind."""
    monkeypatch.setattr(schema, "data_folder", lambda: tmp_path / "none")
    assert main(["passes", "--json"]) == 0

    assert json.loads(capsys.readouterr().out) == []
    assert not (tmp_path / "none").exists()


def test_what_the_disk_would_not_take_is_said(record, capsys, monkeypatch):
    """Twenty blocks lie between two that are on record."""
    monkeypatch.setenv("COLUMNS", "120")
    journal = Journal(record, period_s=0.02)
    torn = journal.begin(Pass("torn", 48_000, "stereo", load_goal("r128")))
    one = np.ones(1)
    torn.add_blocks(one, one, one, 0.0, Reading(integrated=-23.0, max_true_peak=-3.0))
    torn._next += 20
    torn.add_blocks(one, one, one, 0.0, Reading(integrated=-23.0, max_true_peak=-3.0))
    torn.close_pass()
    journal.close()
    main(["passes"])

    assert "✓ passes (2 s missing)" in capsys.readouterr().out


def test_an_export_leaves_a_file_that_is_there_alone(record, tmp_path, capsys):
    """Unless it is asked to replace it."""
    (tmp_path / "out.csv").write_text("mine")
    export = ("--export", "1", "--to", str(tmp_path / "out.csv"))

    assert "exists already. Give --replace" in refused(capsys, *export)
    assert (tmp_path / "out.csv").read_text() == "mine"
    assert main(["passes", *export, "--replace"]) == 0
    assert (tmp_path / "out.csv").read_text().startswith("seconds,")
