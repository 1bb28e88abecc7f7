"""One scale: the middle is the goal."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tui.drawing.cells import text_of
from tui.drawing.scale import GoalScale, offset_row, peaks_row, range_row, scale_row

SCALE = GoalScale(width=31, reach_lu=18.0)
ZONE = (-1.0, 1.0)


def test_the_scale_is_labelled_from_the_goal_outwards():
    """Under to the left, over to the right, both as far as EBU +9 reaches down (Tech 3341 §2.7)."""
    expected = "−18 −9 ╷ ╷ −3  ╷  −1   goal ╷ +1   ╷ +3 ╷ ╷ +9  +18"

    assert text_of(scale_row(GoalScale(51, 18.0))) == expected


def test_labels_that_would_touch_are_left_out():
    """The goal and both ends stay, so that the reach is always read."""
    assert text_of(scale_row(GoalScale(35, 18.0))) == "−18  ╷ −3 ╷ −1 goal +1   +3 ╷ ╷ +18"


def test_ticks_crowd_together_away_from_the_goal():
    """So that the distance of +9 from the goal is not taken for three times that of +3."""
    ticks = [x for x, char in enumerate(text_of(scale_row(GoalScale(151, 18.0)))) if char == "╷"]
    right = [x - 75 for x in ticks if x > 75]
    gaps = [b - a for a, b in pairwise(right)]

    assert len(right) >= 6
    assert min(gaps[:2]) > min(gaps[2:])


def test_the_far_scale_reaches_twice_as_far():
    """EBU +18 begins at −36 LU (Tech 3341 §2.7)."""
    assert text_of(scale_row(GoalScale(61, 36.0))).startswith("−36 ")


@given(st.floats(-60, 60), st.floats(-60, 60))
def test_more_is_never_drawn_further_left(one, other):
    """The lens bends the scale but keeps its order, and stays on the scale."""
    low, high = sorted((one, other))

    assert 0 <= SCALE.cell(low) <= SCALE.cell(high) <= SCALE.width - 1


@given(st.floats(0, 18))
def test_under_and_over_are_drawn_alike(offset):
    """The scale is even-handed: as far left as right."""
    assert SCALE.middle - SCALE.cell(-offset) == SCALE.cell(offset) - SCALE.middle


def test_a_tenth_or_two_is_seen_near_the_goal():
    """The ±0.2 LU of EBU R 128 V5 i) is a zone of three cells at 80 columns, not a hair."""
    scale = GoalScale(51, 18.0)

    assert scale.cell(0.2) - scale.cell(-0.2) + 1 >= 3


def test_over_is_a_bar_to_the_right():
    """From the goal to the value, with the shape at its end and the maximum as a tick."""
    row = offset_row(SCALE, 3.0, "over", ZONE, furthest=9.0)

    assert text_of(row) == "───────────░░░░████████▷───╂───"
    assert ("▷", "paper on over bold") in row


def test_under_is_a_bar_to_the_left():
    """The mirror of over."""
    assert text_of(offset_row(SCALE, -3.0, "under", ZONE)) == "───────◁████████░░░░───────────"


def test_on_the_goal_only_the_shape_stands_in_the_gate():
    """Calm is small."""
    assert text_of(offset_row(SCALE, 0.0, "inside", ZONE)) == "───────────░░░░◇░░░░───────────"


def test_silence_leaves_the_rail_empty():
    """Minus infinity is no place on a scale."""
    assert text_of(offset_row(SCALE, -math.inf, "under", ZONE)) == "───────────░░░░┼░░░░───────────"


@pytest.mark.parametrize(("offset", "end"), [(-40.0, 0), (40.0, 30)])
def test_beyond_the_reach_the_shape_waits_at_the_end(offset, end):
    """Off the scale still shows which way."""
    text = text_of(offset_row(SCALE, offset, "over" if offset > 0 else "under", ZONE))

    assert ("▷" if offset > 0 else "◁") == text[end]


def test_a_forecast_is_as_wide_as_it_is_unsure():
    """The likely range is low to high, the shape is the central estimate."""
    narrow = text_of(range_row(SCALE, (-0.3, 0.0, 0.3), "inside", ZONE, "inside"))
    wide = text_of(range_row(SCALE, (-3.0, -1.5, 0.3), "under", ZONE, "under"))

    assert narrow == "───────────░░░▒◇▒░░░───────────"
    assert wide == "───────▒▒▒◁▒▒▒▒▒▒░░░───────────"


def test_peaks_hang_under_their_ceiling():
    """The middle is the ceiling: the gap is the headroom."""
    assert text_of(peaks_row(SCALE, [("L", -5.0), ("R", -3.0)])) == "─────L─R───────△───────────────"


def test_a_peak_over_the_ceiling_crosses_it():
    """Over the ceiling is to the right and never looks like headroom."""
    row = peaks_row(SCALE, [("L", -5.0), ("R", 1.0)])

    assert text_of(row) == "─────L─────────△███R───────────"
    assert ("R", "ceiling bold") in row


def test_two_peaks_in_one_cell_stand_side_by_side():
    """No channel hides another."""
    assert "LR" in text_of(peaks_row(SCALE, [("L", -3.0), ("R", -3.0)]))
