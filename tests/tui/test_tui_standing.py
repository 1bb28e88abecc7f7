"""The hand, the question and the earlier pass."""

import math
from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.model.snapshot import ArmState, EarlierPass
from tui.controller import Controller
from tui.drawing.cells import text_of
from tui.drawing.panels.standing import rows_wanted, standing_rows


def _view(feed, *, news=False):
    return replace(Controller(feed).read_view(), arm_is_news=news)


def _lines(view, width=80, height=None):
    height = rows_wanted(view, width) if height is None else height
    return [text_of(row).rstrip() for row in standing_rows(view, width, height)]


def test_not_armed_is_said_with_word_and_shape():
    """With the surface, what was said last, and the earlier pass under it."""
    expected = [
        " ▢ not armed  studio desk  Disarmed by you.",
        " earlier pass mix.wav fits (1.2 s in, 0.4 dB)",
    ]

    assert _lines(_view(scenes.unarmed())) == expected


def test_the_caution_is_shown_in_full_while_it_is_new():
    """Every word of it, before anything has moved."""
    lines = _lines(_view(scenes.armed(), news=True))

    assert lines[0].startswith(" ▣ ARMED  studio desk  Caution: the sidecar will now move a fader")
    assert scenes.CAUTION in " ".join(line.strip() for line in lines)


def test_afterwards_armed_stays_in_one_row():
    """Word and shape never go; the sentence is cut to what fits beside them."""
    (line, _) = _lines(_view(scenes.armed()))

    assert line.startswith(" ▣ ARMED  studio desk  Caution: the sidecar will now move a fader, upward")
    assert line.endswith("…")


def test_a_long_sentence_gives_way_to_the_question():
    """What asks for an answer is not pushed off the screen by what only informs."""
    feed = scenes.armed()
    feed.change(guess=scenes.asking().shown.guess)
    lines = _lines(_view(feed, news=True), height=4)

    assert rows_wanted(_view(feed, news=True), 80) == 6
    assert lines[1].endswith("…")
    assert lines[2].startswith(" ? Was the fader moved")
    assert lines[3].startswith(" earlier pass")


@pytest.mark.parametrize("height", [1, 2])
def test_with_least_room_armed_comes_first(height):
    """What can move a fader is said before what asks."""
    feed = scenes.armed()
    feed.change(guess=scenes.asking().shown.guess)

    assert "▣ ARMED" in _lines(_view(feed, news=True), height=height)[0]


def test_the_keys_of_a_question_are_never_cut():
    """A question that cannot be answered would be worse than none."""
    assert _lines(_view(scenes.asking())) == [
        " ? Was the fader moved up by about 2.0 dB at 1:23?  y yes  n no"
    ]
    assert _lines(_view(scenes.asking()), 38) == [" ? Was the fader moved…  y yes  n no"]


@pytest.mark.parametrize(
    ("earlier", "line"),
    [
        (EarlierPass("mix.wav", True, 1.2, 0.4), " earlier pass mix.wav fits (1.2 s in, 0.4 dB)"),
        (
            EarlierPass("mix.wav", False, 0.0, 5.1),
            " earlier pass mix.wav does not fit: forecast from this pass only",
        ),
        (EarlierPass("mix.wav", False, 0.0, math.inf), " earlier pass mix.wav: finding its place…"),
        (
            EarlierPass("a very long name of a very long file.wav", False, 0.0, 5.1),
            " earlier pass a very long name of a… does not fit: forecast from this pass only",
        ),
    ],
)
def test_the_earlier_pass_is_one_quiet_line(earlier, line):
    """Whether it fits, where and how well, or what the forecast is made from instead."""
    feed = scenes.down()
    feed.change(earlier_pass=earlier)

    assert [line] == _lines(_view(feed))


def test_where_nothing_stands_no_row_is_asked_for():
    """Without a surface, a question and an earlier pass the screen is as it was."""
    assert rows_wanted(_view(scenes.down()), 80) == 0


@pytest.mark.parametrize("width", [1, 12, 25, 40, 80, 200])
def test_every_row_has_the_width_of_the_panel(width):
    """Whatever the size and the surface's name, nothing sticks out."""
    feed = scenes.crowded()
    feed.change(arm=ArmState("a surface with a name of its own", True, scenes.CAUTION))
    rows = standing_rows(_view(feed, news=True), width, 6)

    assert [width] * 6 == [len(text_of(row)) for row in rows]
