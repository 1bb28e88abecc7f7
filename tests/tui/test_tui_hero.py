"""The next move, set large."""

import math
from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.model.readings import Move
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.panels.advice import advice
from tui.drawing.panels.hero import hero


def _lines(feed, width, height, **controller):
    return [text_of(row).rstrip() for row in hero(Controller(feed, **controller).read_view(), width, height)]


def test_at_80_columns_figure_and_words_stand_side_by_side():
    """The whole hero as the smallest full screen shows it."""
    expected = [
        "               ██            ██          ████     now: down 1.8 dB  −3.5 → −5.3",
        "               ██          ████        ██    ██   lands at −23.1 LUFS",
        "               ██            ██        ██    ██   likely −23.4 to −22.9",
        "               ██            ██          ████     from the top: down 2.3 dB",
        "           ██████████        ██        ██    ██   the second half has been",
        "             ██████          ██        ██    ██   running 1.6 LU hot",
        "               ██          ██████  ██    ████",
    ]

    assert _lines(scenes.down(), 80, 7) == expected


def test_why_there_is_no_advice_yet_is_not_cut_while_rows_are_blank():
    words = " ".join(" ".join(_lines(scenes.listening(), 59, 11)).split())

    assert words.endswith("10 s of programme above the gate are needed before advice is worth hearing")


SIZES = [(80, 7), (120, 8), (200, 15), (59, 15), (56, 6), (80, 4)]
STATES = [scenes.hold, scenes.on_goal, scenes.down, scenes.up, scenes.first_step, scenes.past_bound]


def _with_gain(gain_db):
    feed = scenes.down()
    move = Move(gain_db, -23.1, -23.4, -22.9, reason="far too hot")
    feed.change(advice=scenes.advice_of(move))
    return feed


def _places(feed, width, height):
    """Row and column where the landing and the whole-pass gain begin."""
    found = []
    for y, line in enumerate(_lines(feed, width, height)):
        begun = [words for words in ("lands at", "finish and land at", "from the top") if words in line]
        found += [(y, line.index(words)) for words in begun]
    return found


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_nothing_jumps_from_one_state_to_the_next(width, height):
    """Landing and whole-pass gain keep their row and column whatever is said."""
    places = [_places(scene(), width, height) for scene in STATES]

    assert len(places[0]) >= 1
    assert all(place == places[0] for place in places)


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_last_figure_keeps_its_cells(width, height):
    """Each figure has a place of its own, up to 88.8 dB."""
    ends = {_figure_end(_with_gain(gain_db), width, height) for gain_db in (-0.8, -1.8, 8.8, 18.8, -88.8)}

    assert len(ends) == 1


def _figure_end(feed, width, height):
    """The right edge of the figure, and how many rows it has."""
    lines = _lines(feed, width, height)
    words = next(x for x in (line.find("now: ") for line in lines) if x >= 0)
    rows = [line[: words if words > 1 else None] for line in lines]
    blocks = [
        max(x for x, char in enumerate(row) if char in "█▀▄") for row in rows if "█" in row or "▀" in row
    ]
    return max(blocks), len(blocks)


@pytest.mark.parametrize("width", [79, 80, 119, 120, 59, 40])
def test_no_row_is_longer_than_the_panel(width):
    for scene in STATES:
        rows = hero(Controller(scene()).read_view(), width, 7)

        assert {len(text_of(row)) for row in rows} == {width}


def test_with_room_the_landing_is_set_in_blocks_too():
    """At 120 columns the second figure to be read from afar is on the right."""
    lines = _lines(scenes.down(), 120, 8)

    assert lines[0].endswith("lands at")
    assert lines[5].endswith("◇ LUFS likely −23.4 to −22.9")
    assert not any("lands at −23.1" in line for line in lines)


def test_a_limited_move_up_keeps_limit_and_reason():
    text = "\n".join(_lines(scenes.up(), 80, 7))

    for part in ("now: up 1.4 dB  −3.5 → −2.1", "△ Peaks allow no more:", "higher, they pass −2.0 dBTP."):
        assert part in text


def test_two_figures_before_the_point_leave_room_for_the_landing():
    feed = scenes.down()
    feed.change(advice=scenes.advice_of(Move(-12.4, -23.1, -23.4, -22.9, reason="far too hot")))
    text = "\n".join(_lines(feed, 80, 7))

    for part in ("now: down 12.4 dB", "lands at −23.1 LUFS", "likely −23.4 to −22.9"):
        assert part in text


def test_the_end_is_a_verdict_and_the_move_of_the_next_pass():
    """In place of a large move for which it is too late."""
    lines = [line[50:] for line in _lines(scenes.failed(), 80, 7)]

    assert lines == [
        "integrated −20.9: 1.9 LU over",
        "the limit −22.8 LUFS",
        "true peak −0.4: 0.6 dB over",
        "the limit −1.0 dBTP",
        "next pass: down 2.1 dB",
        "lands at −23.0 LUFS",
        "",  # the reason has no room whole, and the first line has said it
    ]


def test_the_stem_to_move_first_is_named_and_the_mix_lands():
    """Which of the faders, how far from where to where, and what all the moves together come to."""
    expected = [
        "voice: up 1.2 dB  −3.5 → −2.3",
        "mix lands at −23.0 LUFS",
        "likely −23.3 to −22.8",
        "from the top: up 1.4 dB",
        "first of 2, monitors down",
    ]

    assert [line[50:] for line in _lines(scenes.stems(), 80, 7)][:5] == expected


def test_in_four_rows_landing_gain_and_caution_are_still_there():
    """Where many stems take its room, the hero gives up size and the reason, nothing that is needed."""
    lines = [line[27:] for line in _lines(scenes.many_stems(16), 80, 4)]

    assert lines == [
        "footsteps: up 3.0 dB  −6.5 → −3.5",
        "mix lands at −23.0 LUFS  likely −23.3 to −22.8",
        "from the top: up 1.4 dB",
        "first of 4, monitors down",
    ]


def test_a_fader_all_the_way_down_is_said_in_words():
    """Dashes would look like something unknown."""
    feed = scenes.on_goal()
    feed.change(fader_db=-math.inf)

    assert _lines(feed, 80, 1)[0] == "◇ on goal  fader closed"


def test_one_line_still_says_the_move():
    """The smallest screen keeps what matters most."""
    assert _lines(scenes.down(), 40, 1) == ["▼ now: down 1.8 dB  −3.5 → −5.3"]


def test_without_half_blocks_words_are_plain():
    """On an ASCII terminal a word is written, not drawn out of halves; its place is the same."""
    lines = _lines(scenes.on_goal(), 80, 7, half_blocks=False)

    assert lines[0].strip() == "on goal  fader at −3.5 dB"
    assert lines[3].startswith(" ◇ ON GOAL  ")


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("1.4 LU too loud so far; the rest is likely louder.", "1.4 LU too loud so far."),
        ("This pass heads for −22.9 LUFS; leave the fader.", "This pass heads for −22.9 LUFS."),
        ("Too little to move for.", "Too little to move for."),
        ("One step is enough for now. The fader's range allows no more.", "One step is enough for now."),
        ("It needs more words than one row has room for", ""),
    ],
)
def test_a_reason_without_room_ends_at_a_whole_clause(reason, said):
    """At 60 columns one row is left for it: half a sentence would say nothing."""
    feed = scenes.down()
    move = replace(feed.shown.advice.move, reason=reason)
    feed.change(advice=replace(feed.shown.advice, move=move))

    assert _lines(feed, 60, 5)[4].strip() == said


@pytest.mark.parametrize(
    ("move", "changes", "said"),
    [
        (
            Move(-2.0, -23.0, -23.4, -22.9, "ceiling", "Down because peaks are over the −1.0 dBTP ceiling."),
            {},
            "△ down because of peaks",
        ),
        (Move(-2.0, -21.6, -21.8, -21.4), {"restart_fader_db": -12.5}, "or start again, fader −12.5 dB"),
    ],
)
def test_what_is_to_be_done_besides_the_move_has_a_form_for_one_row(move, changes, said):
    feed = scenes.down()
    feed.change(advice=scenes.advice_of(move, **changes))

    assert _lines(feed, 60, 5)[4].strip() == said


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("A whole pass lands at −23.1 LUFS; too little to move for.", "Too little to move for."),
        ("Leave the fader: this pass heads for −23.1 LUFS.", "Leave the fader."),
        ("With these moves made, the mix lands at −23.1 LUFS.", ""),
        (
            "Loudness is right at −23.1 LUFS, but peaks pass.",
            "Loudness is right at −23.1 LUFS, but peaks pass.",
        ),
    ],
)
def test_a_landing_is_not_said_again_in_the_reason(reason, said):
    feed = scenes.down()
    move = replace(feed.shown.advice.move, reason=reason)
    feed.change(advice=replace(feed.shown.advice, state="hold", move=move))

    assert advice(feed.shown, relative=False).reason == said


def test_a_verdict_without_room_leaves_out_the_limit_and_cuts_no_word():
    wide, narrow = _lines(scenes.failed(), 60, 5), _lines(scenes.failed(), 40, 3)

    assert [line[27:] for line in wide[:2]] == [
        "integrated −20.9: 1.9 LU over",
        "true peak −0.4: 0.6 dB over",
    ]
    assert narrow[:2] == ["fails: integrated −20.9: 1.9 LU over", "true peak −0.4: 0.6 dB over"]
