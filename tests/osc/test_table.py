"""The one table: what it promises holds, and the page about OSC prints it as it is."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from sidecar.model.advice import Advice
from sidecar.model.commands import (
    Arm,
    Disarm,
    FaderAt,
    MarkDialogue,
    Nudge,
    Pause,
    Reset,
    SelectGoal,
    StemFaderAt,
)
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import Alert, Move, Reading
from sidecar.model.snapshot import ArmState, Snapshot, Stem
from sidecar.osc import codec
from sidecar.osc.requests import RequestParser
from sidecar.osc.table import addresses, readme
from sidecar.remote.commands import datagram
from sidecar.settings.goals import load_goal

PAGE = Path(__file__).parents[2] / "sidecar" / "osc" / "README.md"


THIS_PASS = Advice("move", Move(-2.5), lands_this_pass=True)
STEMS = (Stem("voice", -2.0, Move(0.5), -3.0), Stem("music", -8.0, Move(-3.0), -6.0))
DIALOGUE = DialogueLoudness("detector", -27.0, -23.0, 300.0, 600.0, 0.9)
ARM = ArmState("mine", True, "Armed by the person.")


def a_snapshot(**changes):
    levels = (-20.0, -21.0, -22.0, 5.0, -18.0, -19.0, (-3.0, -4.0), -3.0, -3.5, 12.5)
    reading = Reading(*levels, held_peak=(-5.0, -6.0), channel_peak=(-9.0, -8.0), correlation=0.25)
    return Snapshot(transport="measuring", goal=load_goal("r128"), reading=reading, **changes)


def dict_of(snapshot):
    return {out.path: out.read(snapshot) for out in addresses.OUTGOING}


def test_the_page_about_osc_prints_the_table_as_it_is():
    assert readme.markdown() in PAGE.read_text(encoding="utf-8")


def test_every_outgoing_address_sends_the_types_it_documents():
    """Values read from a snapshot fit the type tags of their row."""
    for out in addresses.OUTGOING:
        values = out.read(a_snapshot(stems=STEMS, arm=ARM, dialogue=DIALOGUE))
        built = codec.message(addresses.ROOT + out.path, out.tags, values)
        ((address, arguments),) = codec.parse(built.dgram)
        kinds = "".join({float: "f", int: "i", str: "s"}[type(a)] for a in arguments)

        assert addresses.ROOT + out.path == address
        assert re.fullmatch(out.tags.replace("*", "+"), kinds), out.path


def test_the_dialogue_is_sent_where_it_is_measured():
    read = dict_of(a_snapshot(dialogue=DIALOGUE))
    names = ("loudness", "ldr", "share", "confidence")

    assert [read[f"/dialogue/{name}"] for name in names] == [(-27.0,), (4.0,), (0.5,), (0.9,)]
    assert [dict_of(a_snapshot())[f"/dialogue/{name}"] for name in names] == [()] * 4


def test_an_alert_carries_state_value_and_limit():
    """0 off, 1 on, 2 held, so that a light needs no words."""
    snapshot = a_snapshot(alerts=(Alert("over", "on", -21.0, -22.8), Alert("ceiling", "latched", -0.5, -1.0)))
    read = dict_of(snapshot)

    assert read["/alert/over"] == (1, -21.0, -22.8)
    assert read["/alert/ceiling"] == (2, -0.5, -1.0)
    assert read["/alert/hot"][0] == 0


def test_the_move_sent_is_that_of_the_pass_that_plays_where_it_is_known():
    """Otherwise it is the move for the next pass, and an address says which."""
    both = a_snapshot(advice=Advice("move", Move(-2.5), from_top=Move(-1.0), lands_this_pass=True))
    read = {out.path: out.read for out in addresses.OUTGOING}

    assert read["/move/gain"](both) == (-2.5,)
    assert read["/move/pass"](both) == ("this",)
    assert read["/move/pass"](a_snapshot(advice=Advice("move", Move(-1.0)))) == ("next",)


def test_a_stem_that_has_to_move_comes_before_the_master_fader():
    """The fader is named, and its move, not the programme's, is the one sent."""
    snapshot = a_snapshot(advice=THIS_PASS, stems=(replace(STEMS[0], move=Move()), STEMS[1]))
    read = dict_of(snapshot)

    assert read["/move/fader"] == ("music",)
    assert read["/move/gain"] == (-3.0,)
    assert read["/move/pass"] == ("this",)
    assert dict_of(a_snapshot(advice=THIS_PASS))["/move/fader"] == ("master",)


def test_the_moves_of_several_stems_are_none_of_the_master_fader():
    """Up 0.5 dB and down 3 dB: no single figure is that of both."""
    read = dict_of(a_snapshot(advice=THIS_PASS, stems=STEMS))

    assert read["/move/fader"] == ("several stems",)
    assert read["/move/gain"] == (0.0,)
    assert read["/stems/moves"] == (0.5, -3.0)


def test_the_rows_of_stems_stand_in_one_order():
    """The second value of each row belongs to the second name."""
    read = dict_of(a_snapshot(stems=STEMS))

    assert read["/stems/names"] == ("voice", "music")
    assert read["/stems/faders"] == (-2.0, -8.0)
    assert read["/stems/moves"] == (0.5, -3.0)
    assert read["/stems/peaks"] == (-3.0, -6.0)


def test_what_is_not_there_is_not_told():
    """Without stems and without a surface their addresses have no arguments."""
    silent = {path for path, values in dict_of(a_snapshot()).items() if not values}

    assert {"/stems/names", "/stems/faders", "/stems/moves", "/stems/peaks"} <= silent
    assert {"/auto/armed", "/auto/surface", "/auto/notice"} <= silent


@pytest.mark.parametrize(
    ("address", "arguments", "expected"),
    [
        ("/sidecar/pause", [], Pause()),
        ("/sidecar/reset", [1.0], Reset()),
        ("/sidecar/reset", [0.0], None),
        ("/sidecar/goal", ["a85"], SelectGoal("a85")),
        ("/sidecar/fader", [-3], FaderAt(-3.0)),
        ("/sidecar/fader", [-3.5], FaderAt(-3.5)),
        ("/sidecar/nudge", [0.5], Nudge(0.5)),
        ("/sidecar/dialogue", [1], MarkDialogue(True)),
        ("/sidecar/dialogue", [0.0], MarkDialogue(False)),
        ("/sidecar/arm", [], Arm()),
        ("/sidecar/disarm", [1], Disarm()),
        ("/sidecar/stem/fader", ["voice", -3.0], StemFaderAt("voice", -3.0)),
        ("/sidecar/stem/fader", [2, -3], StemFaderAt("2", -3.0)),
        ("/sidecar/stem/fader", [2.0, -3.5], StemFaderAt("2", -3.5)),
    ],
)
def test_messages_become_commands(address, arguments, expected):
    """A button's release does nothing, and a whole number serves where a float is wanted."""
    assert RequestParser().request(address, arguments) == expected


def test_a_screen_elsewhere_marks_dialogue():
    ((address, arguments),) = codec.parse(datagram(MarkDialogue(True)))

    assert RequestParser().request(address, arguments) == MarkDialogue(True)


@pytest.mark.parametrize(
    ("address", "arguments", "reason"),
    [
        ("/sidecar/nothing", [], "no address"),
        ("/sidecar/goal", [], "one argument"),
        ("/sidecar/goal", [3], "needs a text"),
        ("/sidecar/fader", ["up"], "needs a number"),
        ("/sidecar/fader", [True], "needs a number"),
        ("/sidecar/fader", [float("nan")], "needs a number"),
        ("/sidecar/fader", [90.0], "-120 to 20 dB"),
        ("/sidecar/dialogue", [], "one argument"),
        ("/sidecar/dialogue", [2], "0 or 1, not 2"),
        ("/sidecar/dialogue", ["on"], "0 or 1, not 'on'"),
        ("/sidecar/reset", ["now"], "no argument"),
        ("/sidecar/reset", [1, 2], "no argument"),
        ("/sidecar/stem/fader", ["voice"], "two arguments, not 1"),
        ("/sidecar/stem/fader", [1.5, -3.0], "a name or a whole number"),
        ("/sidecar/stem/fader", [True, -3.0], "a name or a whole number"),
        ("/sidecar/stem/fader", [float("nan"), -3.0], "a name or a whole number"),
        ("/sidecar/stem/fader", ["voice", 21.0], "-120 to 20 dB"),
    ],
)
def test_wrong_messages_are_refused_with_the_reason(address, arguments, reason):
    """Nothing is guessed from a message that does not fit its row."""
    with pytest.raises(ValueError, match=reason):
        RequestParser().request(address, arguments)
