"""How rows are shared out."""

import pytest

from tui.drawing.panels.scales import Rows
from tui.layout import plan

PANELS = ("heading", "hero", "standing", "stems", "scales", "history", "alerts", "outlets")


def _heights(rows, channels=2, **wanted):
    shared = plan(rows, channels, **wanted)
    return {panel: getattr(shared, panel) for panel in PANELS}


def test_24_rows_hold_everything():
    """80×24, one row of which is the footer."""
    expected = {"heading": 1, "hero": 7, "scales": 7, "history": 6, "alerts": 1, "outlets": 1}

    assert {**expected, "standing": 0, "stems": 0} == _heights(23)


def test_40_rows_are_generous():
    """Thick bars, a row for each peak, for the distribution and for correlation, a tall history."""
    expected = {"heading": 1, "hero": 8, "scales": 12, "history": 16, "alerts": 1, "outlets": 1}

    assert {**expected, "standing": 0, "stems": 0} == _heights(39)
    assert plan(39, 2).parts == Rows(2, 2, has_distribution=True, has_correlation=True)


def test_100_by_30_gives_the_history_its_rows_before_bars_grow_thick():
    assert _heights(29)["history"] >= 8
    assert plan(29, 2).parts == Rows(1, 2, has_distribution=True, has_correlation=True)


@pytest.mark.parametrize(("rows", "width"), [(19, 60), (11, 40)])
def test_small_screens_have_a_history_of_two_rows_and_none_to_spare(rows, width):
    heights = _heights(rows, width=width)

    assert heights["history"] >= 2
    assert heights["hero"] <= 6


@pytest.mark.parametrize("channels", [0, 1, 2, 6, 12])
@pytest.mark.parametrize("wanted", [{}, {"standing": 2}, {"stems": 9}, {"standing": 6, "stems": 9}])
def test_every_row_is_given_away(channels, wanted):
    """No size leaves a hole or overflows."""
    for rows in range(120):
        heights = _heights(rows, channels, **wanted)

        assert rows == sum(heights.values())
        assert min(heights.values()) >= 0


def test_what_matters_most_goes_last():
    """The move is on the smallest screen, then the rails, then heading and alerts, then the history."""
    wanted = {"standing": 1, "stems": 3}
    first_seen = {
        panel: next(rows for rows in range(60) if _heights(rows, **wanted)[panel]) for panel in PANELS
    }

    assert sorted(first_seen, key=first_seen.get) == [
        "hero",
        "standing",
        "scales",
        "heading",
        "alerts",
        "history",
        "stems",
        "outlets",
    ]


def test_whether_the_fader_may_be_moved_is_said_from_the_second_row_on():
    """Only the move itself comes before it."""
    assert all(_heights(rows, standing=1)["standing"] == 1 for rows in range(2, 120))


@pytest.mark.parametrize(
    ("stems", "expected"),
    [
        (3, {"hero": 7, "stems": 3, "history": 4}),
        (7, {"hero": 5, "stems": 7, "history": 2}),
        (9, {"hero": 5, "stems": 9, "history": 0}),
    ],
)
def test_on_24_rows_the_stems_take_from_the_course_then_from_the_figures(stems, expected):
    """Four, twelve and sixteen stems, two beside one another under their head, all find room."""
    heights = _heights(23, stems=stems)

    assert {panel: heights[panel] for panel in expected} == expected
    assert heights["scales"] == 7


def test_on_40_rows_sixteen_stems_leave_everything_else_its_room():
    """Three beside one another: large figures, all scales and a history."""
    heights = _heights(39, standing=2, stems=7)

    assert (heights["hero"], heights["standing"], heights["stems"]) == (7, 2, 7)
    assert heights["scales"] >= 8
    assert heights["history"] >= 6


def test_a_wall_shows_the_move_twice_as_large():
    """Fourteen rows for figures of two cells a dot."""
    assert _heights(80)["hero"] >= 14


def test_on_a_phone_held_upright_the_figures_are_as_large_as_on_a_desk():
    assert plan(55, 2, width=60).hero >= 11
    assert plan(55, 2, width=40).hero < 11
    assert plan(30, 2, width=60).hero < 11
