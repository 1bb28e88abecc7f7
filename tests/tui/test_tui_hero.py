"""The next move, set large."""

import math

import scripted_feed as scenes

from sidecar.model.readings import Move
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.panels.hero import hero


def _lines(feed, width, height, **controller):
    return [text_of(row).rstrip() for row in hero(Controller(feed, **controller).read_view(), width, height)]


def test_at_80_columns_figure_and_words_stand_side_by_side():
    """The whole hero as the smallest full screen shows it."""
    expected = [
        "      ██          ██          ████     master fader, this pass",
        "      ██        ████        ██    ██   DOWN 1.8 dB  −3.5 → −5.3",
        "      ██          ██        ██    ██   lands at −23.1 LUFS",
        "      ██          ██          ████     likely −23.4 to −22.9",
        "  ██████████      ██        ██    ██   the second half has been running 1.6 LU",
        "    ██████        ██        ██    ██   hot",
        "      ██        ██████  ██    ████",
    ]

    assert _lines(scenes.down(), 80, 7) == expected


def test_with_room_the_landing_is_set_in_blocks_too():
    """At 120 columns the second figure to be read from afar stands to the right."""
    lines = _lines(scenes.down(), 120, 8)

    assert lines[0].endswith("lands at")
    assert lines[5].endswith("◇ LUFS likely −23.4 to −22.9")
    assert not any("lands at −23.1" in line for line in lines)


def test_a_limited_move_up_keeps_limit_caution_and_reason():
    """What a hand must know before it raises gain fits into 80 columns."""
    text = "\n".join(_lines(scenes.up(), 80, 7))

    for part in (
        "UP 1.4 dB  −3.5 → −2.1  monitors down",
        "△ held by the true-peak ceiling",
        "2.6 dB would be",
    ):
        assert part in text


def test_two_figures_before_the_point_leave_room_for_the_landing():
    """A large move is still explained at 80 columns, nothing is cut in half."""
    feed = scenes.down()
    feed.change(this_pass=Move(-12.4, -23.1, -23.4, -22.9, reason="far too hot"))
    text = "\n".join(_lines(feed, 80, 7))

    for part in ("DOWN 12.4 dB  −3.5 → −15.9", "lands at −23.1 LUFS", "likely −23.4 to −22.9"):
        assert part in text


def test_calm_words_stand_over_their_reason():
    """On goal is a word, not a figure, and says where it lands."""
    lines = _lines(scenes.on_goal(), 80, 7)

    assert lines[4] == "  this pass lands at −23.0 LUFS  likely −23.1 to −22.9"
    assert lines[5] == "  the rest may stay as it is"


def test_the_stem_to_move_first_is_named_and_the_mix_lands():
    """Which of the faders, how far from where to where, and what all the moves together come to."""
    expected = [
        "      ██          ██          ████     first of 2 stem moves, next pass",
        "    ██████      ████        ██    ██   voice: UP 1.2 dB  −3.5 → −2.3  monitors down",
        "  ██████████      ██              ██   mix lands at −23.0 LUFS",
        "      ██          ██            ██     likely −23.3 to −22.8",
        "      ██          ██          ██       With these moves made, the mix lands at",
        "      ██          ██        ██         −23.0 LUFS.",
        "      ██        ██████  ██  ████████",
    ]

    assert _lines(scenes.stems(), 80, 7) == expected


def test_in_four_rows_landing_limit_and_caution_are_still_there():
    """Where many stems take its room, the hero gives up size and the reason, nothing that is needed."""
    expected = [
        "   ▄█▄   ▀▀▀▄   ▄▀▀▄   first of 4 stem moves, next pass",
        "  ▀▀█▀▀   ▄▄▀   █  █   footsteps: UP 3.0 dB  −6.5 → −3.5  monitors down",
        "    █       █   █  █   mix lands at −23.0 LUFS  likely −23.3 to −22.8",
        "    ▀    ▀▀▀  ▀  ▀▀    held to one safe step",
    ]

    assert _lines(scenes.many_stems(16), 80, 4) == expected
    assert _lines(scenes.many_stems(16), 120, 4)[:1] + expected[1:] == expected


def test_with_room_it_is_the_mix_that_lands():
    """Nobody takes the landing for the stem's own."""
    assert _lines(scenes.stems(), 120, 8)[0].endswith("mix lands at")


def test_a_fader_all_the_way_down_is_said_in_words():
    """Dashes would look like something unknown."""
    feed = scenes.on_goal()
    feed.change(fader_db=-math.inf)

    assert _lines(feed, 80, 1)[0] == "◇ on goal  fader closed"


def test_one_line_still_says_the_move():
    """The smallest screen keeps what matters most."""
    assert _lines(scenes.down(), 40, 1) == ["▼ DOWN 1.8 dB  −3.5 → −5.3"]


def test_without_half_blocks_words_are_plain():
    """On an ASCII terminal a word is written, not drawn out of halves."""
    lines = _lines(scenes.on_goal(), 80, 7, half_blocks=False)

    assert lines[0] == "◇ on goal  fader at −3.5 dB"
