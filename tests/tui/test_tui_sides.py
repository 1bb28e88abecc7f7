"""The colour of a loudness: by the figure as shown, and still at the edge of a limit."""

import pytest
import scripted_feed as scenes

from tui.controller import Controller
from tui.drawing.panels.sides import steady_side

LOW, HIGH = -23.2, -22.8


def _seen(*values, before="inside", low=LOW, high=HIGH):
    seen = []
    for value in values:
        before = steady_side(value, low, high, before)
        seen.append(before)
    return seen


def test_the_figure_as_shown_decides():
    """−22.84 and −22.76 are both −22.8, which passes (Tech 3341 §2.8: one decimal)."""
    assert _seen(-22.84, -22.8, -22.76) == ["inside"] * 3
    assert _seen(-22.74, -23.26) == ["over", "under"]


def test_at_the_edge_of_a_limit_the_colour_does_not_flicker():
    """What wanders by a tenth of the meter's own step keeps its colour."""
    wander = [-22.74, -22.76] * 20

    assert set(_seen(*wander)) == {"over"}
    assert set(_seen(*[-23.26, -23.24] * 20)) == {"under"}


def test_a_tenth_inside_it_is_inside_again():
    assert _seen(-22.74, -22.8, -22.9) == ["over", "over", "inside"]
    assert _seen(-23.26, -23.2, -23.1) == ["under", "under", "inside"]


def test_a_goal_without_tolerance_can_still_be_reached():
    """Half of the zone at most is kept back: at a zone of no width nothing is."""
    assert _seen(-22.9, -23.0, low=-23.0, high=-23.0) == ["over", "inside"]


def test_from_one_side_straight_to_the_other():
    assert _seen(-22.0, -24.0) == ["over", "under"]


def _integrated(feed, controller, value, **changes):
    feed.change(reading=scenes.reading_at(feed.history_shown, integrated=value), **changes)
    return controller.read_view().before.integrated


@pytest.mark.parametrize("changes", [{"goal": scenes.EXCHANGE}, {"transport": "ended"}])
def test_another_goal_and_the_verdict_begin_without_memory(changes):
    feed = scenes.down()
    controller = Controller(feed)
    high = changes.get("goal", scenes.BROADCAST).highest_lufs

    assert _integrated(feed, controller, -20.0) == "over"
    assert _integrated(feed, controller, high, **changes) == "inside"


def test_a_reset_begins_without_memory():
    feed = scenes.down()
    controller = Controller(feed)
    first = _integrated(feed, controller, -22.7)
    feed.history_shown = scenes.wandering_history(3.0)

    assert (first, _integrated(feed, controller, -22.8)) == ("over", "inside")
