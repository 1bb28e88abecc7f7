"""The stems in a table."""

from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.model.readings import Move
from tui.controller import Controller
from tui.drawing.cells import text_of, width_of
from tui.drawing.panels.stems import rows_wanted, stem_rows


def _lines(feed, width=80, height=3):
    return [text_of(row).rstrip() for row in stem_rows(Controller(feed).read_view(), width, height)]


def _tone(feed, text):
    rows = stem_rows(Controller(feed).read_view(), 80, 3)
    return next(tone for row in rows for part, tone in row if text in part)


def test_four_stems_at_80_columns():
    """Fader now, move with its direction, what limits it, true peak; in the order of the mix, downwards."""
    expected = [
        " stem         fader   move limit   dBTP  stem         fader   move limit   dBTP",
        " voice         −3.5 ▲  1.2         −6.2  strings an…  −12.5  stays        −14.1",
        " drums         −1.0 ▼  0.8 △peak  △−0.6  room           off  stays         −−.−",
    ]

    assert _lines(scenes.stems()) == expected


def test_a_name_in_wide_characters_leaves_every_figure_in_its_place():
    """The last true peak of a row is not pushed over the edge of the screen."""
    feed = scenes.stems()
    voice, *others = feed.shown.stems
    feed.change(stems=(replace(voice, name="ボーカル"), *others))
    row = stem_rows(Controller(feed).read_view(), 80, 3)[1]

    assert width_of(row) == 80
    assert text_of(row).endswith("−14.1 ")


def test_three_stand_beside_one_another_at_120_columns():
    """Twelve stems take five rows."""
    lines = _lines(scenes.many_stems(12), 120, 5)

    assert rows_wanted(12, 120) == 5
    assert lines[0].count("stem") == 3
    assert [lines[1][x : x + 10].strip() for x in (1, 41, 81)] == ["voice", "bass", "effects"]


@pytest.mark.parametrize(("limit", "word"), [("ceiling", "△peak"), ("step", "step"), ("range", "end")])
@pytest.mark.parametrize("gain_db", [0.0, 1.0])
def test_each_limit_has_its_word(limit, word, gain_db):
    """A move that was cut short never looks like the whole remedy."""
    feed = scenes.stems()
    voice, *others = feed.shown.stems
    feed.change(stems=(replace(voice, move=Move(gain_db, limited_by=limit)), *others))

    said = f"▲  1.0 {word}" if gain_db else " held" if word == "end" else f"   0.0 {word}"
    assert f"−3.5 {said:<12}" in _lines(feed)[1]


def test_ink_is_that_of_the_rest_of_the_screen():
    """Up is drawn as under, down as over, peaks as ceiling, and what stays is dim."""
    tones = [_tone(scenes.stems(), text) for text in ("1.2", "0.8", "−0.6", "strings", "voice")]

    assert tones == ["under bold", "over", "ceiling bold", "dim", "strong"]


def test_where_not_all_find_room_those_at_rest_are_left_out_first():
    """What must be moved stays on the screen, in the order of the mix, and the others are counted."""
    lines = _lines(scenes.many_stems(16))

    assert "+12 at rest" in lines[0]
    assert [lines[row][x : x + 11].strip() for row in (1, 2) for x in (1, 41)] == [
        "voice",
        "guitar",
        "drums",
        "footsteps",
    ]


def test_left_out_moves_are_not_called_at_rest():
    """With room for two of four moves the largest two are shown."""
    lines = _lines(scenes.many_stems(16), 80, 2)

    assert "+14 more" in lines[0]
    assert [lines[1][x : x + 11].strip() for x in (1, 41)] == ["voice", "footsteps"]


@pytest.mark.parametrize(("width", "height"), [(80, 7), (120, 5), (39, 4), (12, 2), (5, 1), (200, 9)])
@pytest.mark.parametrize("count", [4, 12, 16])
def test_every_row_has_the_width_of_the_panel(width, height, count):
    """Whatever the size, nothing sticks out and nothing is missing."""
    rows = stem_rows(Controller(scenes.many_stems(count)).read_view(), width, height)

    assert [width] * height == [len(text_of(row)) for row in rows]


def test_without_stems_no_row_is_asked_for():
    """Where only the mix arrives the screen is as it was."""
    assert [rows_wanted(count, 80) for count in (0, 1, 4, 16)] == [0, 2, 3, 9]
