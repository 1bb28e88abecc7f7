"""Markers in the lines of JSON, and what a run prints that never began."""

import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.cli.run.lines import JsonLines, PlainLines, spoken, unless_it_never_began
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.snapshot import Event, Snapshot
from sidecar.settings.goals import load_goal

GOAL = load_goal("r128")


def snapshot(transport="measuring", notice=""):
    return Snapshot(transport, GOAL, notice=notice)


def markers(capsys):
    lines = map(json.loads, capsys.readouterr().out.splitlines())
    return [(line["seconds"], line["label"]) for line in lines if line["type"] == "marker"]


def test_each_marker_is_a_line_once_and_a_reset_begins_anew(capsys):
    events = (Event(1.0, "marker", "before the run"),)
    lines = JsonLines(lambda: events)
    lines(snapshot())
    for more in (
        (Event(2.5, "marker", "verse"), Event(2.6, "alert", "hot")),
        (),
        (Event(4.0, "marker", ""),),
    ):
        events += more
        lines(snapshot())
    first_pass = markers(capsys)
    events = ()
    lines(snapshot())
    events = (Event(0.5, "marker", "again"),)
    lines(snapshot())
    events = (Event(0.2, "marker", "third pass"), Event(0.3, "marker", "and more"))
    lines(snapshot())

    assert first_pass == [(2.5, "verse"), (4.0, "")]
    assert markers(capsys) == [(0.5, "again"), (0.2, "third pass"), (0.3, "and more")]


def test_marked_dialogue_and_its_loudness_are_in_the_lines(capsys):
    events = ()
    lines = JsonLines(lambda: events)
    lines(snapshot())
    events = (Event(2.5, "dialogue", "begins"),)
    lines(replace(snapshot(), dialogue=DialogueLoudness("markers", -27.126, -23.0, 60.0, 100.0)))
    found = [json.loads(line) for line in capsys.readouterr().out.splitlines()]

    assert "dialogue" not in found[0]
    assert [line for line in found if line["type"] == "dialogue"] == [
        {"type": "dialogue", "seconds": 2.5, "label": "begins"}
    ]
    assert [line["dialogue"] for line in found if line["type"] == "reading" and "dialogue" in line] == [
        {
            **{"found_by": "markers", "dialogue_lufs": -27.13, "ldr_lu": 4.13},
            **{"speech_s": 60.0, "speech_share": 0.6, "confidence": 1.0},
        }
    ]


def test_the_dialogue_is_in_the_line_that_is_read_out():
    dialogue = DialogueLoudness("detector", -27.0, -23.0, 60.0, 100.0, 0.9)

    assert "Detected dialogue −27.0 LUFS; LDR 4.0 LU." in spoken(replace(snapshot(), dialogue=dialogue))
    assert "ialogue" not in spoken(snapshot())


def test_the_end_of_a_run_that_never_began_is_left_to_its_error(capsys):
    lines = unless_it_never_began(PlainLines())
    lines(snapshot("preparing"))
    lines(snapshot("ended", notice="There is no such layout."))

    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("transports", [("preparing", "measuring", "ended"), ("preparing", "ended")])
def test_the_closing_line_of_any_other_run_comes(capsys, transports):
    lines = unless_it_never_began(PlainLines())
    for transport in transports:
        lines(snapshot(transport))

    assert "ended" in capsys.readouterr().out.splitlines()[-1]


def test_a_layout_that_does_not_fit_is_said_once(tmp_path, capsys):
    file = tmp_path / "mix.wav"
    soundfile.write(file, np.zeros((4800, 2)), 48_000)
    code = main(
        ["live", "--file", str(file), "--layout", "5.1", "--no-screen", "--no-record", "--osc-port", "0"]
    )
    said = capsys.readouterr()

    assert (code, said.out) == (2, "")
    assert said.err.count("There are 6 channels in the layout 5.1") == 1
