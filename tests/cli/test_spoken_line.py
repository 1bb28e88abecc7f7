"""The line that is read out: exact sentences, in place on a terminal, a line a change in a pipe."""

import io
import json
import os
import pty
import select
import subprocess
import sys
from dataclasses import replace

import pytest

from sidecar.cli.run.lines import JsonLines, PlainLines, SpokenLine, spoken
from sidecar.model.advice import Advice
from sidecar.model.readings import Alert, Move, Reading
from sidecar.model.snapshot import Snapshot, Stem
from sidecar.settings.goals import load_goal

GOAL = load_goal("r128")
LOUD = Snapshot(
    transport="measuring",
    goal=GOAL,
    reading=Reading(integrated=-21.24, max_true_peak=-3.72),
    advice=Advice("move", Move(-1.8, -23.0, -23.4, -22.6)),
    alerts=(Alert("over", "on", -21.24, -22.8), Alert("hot", "latched")),
    beat=1,
)


def test_at_the_end_the_move_is_said_to_be_for_the_next_pass(capsys):
    """The measured pass is what it is, perhaps on the goal: an advice without this would contradict
    it."""
    over = Snapshot(
        transport="ended",
        goal=GOAL,
        reading=Reading(integrated=-22.9),
        advice=Advice(
            "ended", from_top=Move(3.5, -23.0, reason="Up 3.5 dB: a whole pass then lands at −23.0 LUFS.")
        ),
    )
    PlainLines()(over)

    assert capsys.readouterr().out.startswith(
        "For the next pass: Master fader: up 3.5 dB, turn monitors down first; lands at −23.0 LUFS.\n"
    )
    assert spoken(over).startswith("Ended. For the next pass: Master fader: up 3.5 dB")


def test_at_the_end_of_silence_there_is_no_move_to_print(capsys):
    over = Snapshot(transport="ended", goal=GOAL, reading=Reading(), advice=Advice("ended"))
    PlainLines()(over)

    assert "next pass" not in capsys.readouterr().out


def test_at_the_end_the_reason_for_a_limit_is_printed(capsys):
    move = Move(1.0, -25.0, limited_by="ceiling", reason="Bring the highest peaks down by 2.0 dB first.")
    over = Snapshot(transport="ended", goal=GOAL, reading=Reading(), advice=Advice("ended", from_top=move))
    PlainLines()(over)

    assert "Bring the highest peaks down by 2.0 dB first." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (
            {},
            "Master fader: down 1.8 dB; lands at −23.0 LUFS. Integrated −21.2 LUFS, 1.8 LU over the goal. "
            "True peak −3.7 dBTP. Alert: too loud: integrated −21.2, limit −22.8.",
        ),
        (
            {
                "advice": Advice("move", Move(2.0, -23.0)),
                "reading": Reading(integrated=-25.0, max_true_peak=-9.0),
            },
            "Master fader: up 2.0 dB, turn monitors down first; lands at −23.0 LUFS. "
            "Integrated −25.0 LUFS, 2.0 LU under the goal. True peak −9.0 dBTP. "
            "Alert: too loud: integrated −21.2, limit −22.8.",
        ),
        (
            {
                "advice": Advice("on_goal", Move(0.0, -23.1)),
                "reading": Reading(integrated=-23.1),
                "alerts": (),
            },
            "Master fader: stay; lands at −23.1 LUFS. Integrated −23.1 LUFS, on the goal. True peak −∞ dBTP.",
        ),
        (
            {
                "goal": replace(GOAL, target_lufs=-20.1),  # and 0.2 above it is no -19.9 in binary
                "advice": Advice("on_goal", Move(0.0, -19.9)),
                "reading": Reading(integrated=-19.9, max_true_peak=-9.0),
                "alerts": (),
            },
            "Master fader: stay; lands at −19.9 LUFS. Integrated −19.9 LUFS, on the goal. "
            "True peak −9.0 dBTP.",
        ),
        ({"reading": Reading(), "advice": Advice(), "alerts": ()}, "Master fader: listening."),
        ({"transport": "preparing", "notice": ""}, "Preparing."),
    ],
)
def test_a_run_is_told_in_sentences(change, expected):
    """The move first, its caution with it, then the loudness so far; units always there."""
    assert spoken(replace(LOUD, **change)) == expected


def test_where_an_alert_has_no_room_its_figures_are_left_out_and_no_word_is_cut():
    loud = replace(LOUD, alerts=(Alert("over", "on", -21.8, -22.8),))
    said = spoken(loud, longest=79)

    assert said.endswith(" Alert: too loud.")
    assert "…" not in said


def test_it_speaks_once_a_second_and_only_of_what_is_new():
    """A screen reader that is interrupted ten times a second says nothing."""
    out = io.StringIO()
    line = SpokenLine(out)
    for _ in range(10):
        line(LOUD)
    line(replace(LOUD, advice=Advice("move", Move(-2.5, -23.0))))
    line(replace(LOUD, beat=2))
    line(replace(LOUD, beat=3, advice=Advice("move", Move(-2.5, -23.0))))

    assert [said[14:22] for said in out.getvalue().splitlines()] == ["down 1.8", "down 2.5"]


def stems(**gains_db):
    return tuple(Stem(name, 0.0, Move(gain_db, -23.0), -9.0) for name, gain_db in gains_db.items())


@pytest.mark.parametrize(
    ("moved", "expected"),
    [
        ({"voice": -3.0, "band": 0.0}, "Voice fader: down 3.0 dB; lands at"),
        ({"voice": -7.4, "band": -7.4}, "All stems: down 7.4 dB; lands at"),
        (
            {"voice": -3.0, "band": 1.0},
            "Stems: voice down 3.0 dB, band up 1.0 dB, turn monitors down first; lands",
        ),
    ],
)
def test_several_faders_are_read_out_as_several(moved, expected):
    assert spoken(replace(LOUD, stems=stems(**moved))).startswith(expected)


@pytest.mark.parametrize(
    ("moved", "fader", "gain_db"),
    [
        ({"voice": -7.4, "band": -7.4}, "all stems", -7.4),
        ({"voice": -3.0, "band": 1.0}, "several stems", 0.0),
    ],
)
def test_json_carries_the_move_of_every_stem(capsys, moved, fader, gain_db):
    JsonLines()(replace(LOUD, stems=stems(**moved)))

    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    move = next(line for line in lines if line["type"] == "move")
    assert (move["fader"], move["gain_db"], move["stem_gains_db"]) == (fader, gain_db, moved)


REFUSED = "There is no goal xyz; there are r128, atsc, cinema. Name one of them."


class Terminal(io.StringIO):
    """A terminal of 80 columns without a file behind it."""

    def isatty(self):
        return True

    def fileno(self):
        raise OSError


def test_a_notice_is_said_once_and_the_moves_go_on(capsys):
    lines = PlainLines()
    lines(replace(LOUD, advice=Advice("move", Move(-1.8, -23.0, reason="Down 1.8 dB.")), notice=REFUSED))
    lines(
        replace(LOUD, advice=Advice("move", Move(-2.5, -23.0, reason="Down 2.5 dB.")), notice=REFUSED, beat=2)
    )

    said = capsys.readouterr().out
    assert said.count(REFUSED) == 1
    assert said.index(REFUSED) < said.index("Down 1.8 dB.") < said.index("Down 2.5 dB.")


def test_the_closing_line_comes_in_the_second_of_the_line_before(capsys):
    lines = PlainLines()
    lines(replace(LOUD, notice="A device is gone."))
    lines(replace(LOUD, transport="ended", notice="A device is gone."))

    assert "\n0:00 ended, integrated −21.2 LUFS, short-term −∞, " in capsys.readouterr().out


def test_a_notice_is_read_out_once_without_the_list_that_follows_it():
    out = io.StringIO()
    line = SpokenLine(out)
    for beat in range(1, 9):
        line(replace(LOUD, beat=beat, notice=REFUSED))
    line(replace(LOUD, beat=9, notice=REFUSED, advice=Advice("move", Move(-2.5, -23.0))))

    assert out.getvalue().count("There is no goal xyz.") == 1
    assert "cinema" not in out.getvalue()
    assert [said[14:22] for said in out.getvalue().splitlines()] == ["down 1.8", "down 2.5"]


def test_on_a_narrow_terminal_every_line_finds_room_in_one_row():
    """80 columns: the notice is there for five seconds behind the move, then the figures are back. Nothing is
    written over the closing line, so that one is whole."""
    out = Terminal()
    line = SpokenLine(out)
    for beat in range(1, 9):
        line(replace(LOUD, beat=beat, notice=REFUSED))
    line(replace(LOUD, beat=9, transport="ended", notice=REFUSED))

    *rows, last = out.getvalue().removesuffix("\n").split("\r")[1:]
    assert [len(row) for row in rows if len(row) > 79] == []
    assert ["no goal xyz" in row for row in rows] == [True, False]
    assert last.rstrip() == spoken(replace(LOUD, transport="ended"))
    assert out.getvalue().count("\n") == 1


@pytest.mark.slow
def test_on_a_terminal_it_stays_one_line():
    """A real terminal of its own: the line is rewritten, and left by the four lines of the end."""
    leader, follower = pty.openpty()
    run = subprocess.Popen(
        [sys.executable, "-m", "sidecar", "rehearse", "--plain", "--pace=20", "--for=20", "--osc-port=0"],
        stdout=follower,
        stderr=subprocess.PIPE,
        env={**os.environ, "XDG_STATE_HOME": "/nonexistent"},
    )
    os.close(follower)
    said = b""
    while select.select([leader], [], [], 120)[0]:
        try:
            said += os.read(leader, 4096)
        except OSError:  # the terminal's other end was closed
            break
    os.close(leader)

    assert (run.wait(timeout=60), run.communicate()[1]) == (0, b"")
    assert said.count(b"\n") == 5
    assert said.count(b"\r") > 3
    assert "Ended." in said.decode()
