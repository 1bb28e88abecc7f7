"""How rows are shared out."""

import pytest

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
    """Thick bars, a row for each peak, targets in a row of their own, a tall history."""
    expected = {"heading": 1, "hero": 8, "scales": 10, "history": 17, "alerts": 1, "outlets": 2}

    assert {**expected, "standing": 0, "stems": 0} == _heights(39)
    assert (plan(39, 2).thickness, plan(39, 2).peak_rows) == (2, 2)


@pytest.mark.parametrize("channels", [0, 1, 2, 6, 12])
@pytest.mark.parametrize("wanted", [{}, {"standing": 2}, {"stems": 9}, {"standing": 6, "stems": 9}])
def test_every_row_is_given_away(channels, wanted):
    """No size leaves a hole or overflows."""
    for rows in range(120):
        heights = _heights(rows, channels, **wanted)

        assert rows == sum(heights.values())
        assert min(heights.values()) >= 0


def test_what_matters_most_goes_last():
    """The move is on the smallest screen, then the scales, then heading and alerts."""
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
        "outlets",
        "stems",
        "history",
    ]


def test_whether_the_fader_may_be_moved_is_said_from_the_second_row_on():
    """Only the move itself comes before it."""
    assert all(_heights(rows, standing=1)["standing"] == 1 for rows in range(2, 120))


@pytest.mark.parametrize(
    ("stems", "expected"),
    [
        (3, {"hero": 7, "stems": 3, "history": 3}),
        (7, {"hero": 6, "stems": 7, "history": 0}),
        (9, {"hero": 4, "stems": 9, "history": 0}),
    ],
)
def test_on_24_rows_the_stems_take_from_the_history_then_from_the_figures(stems, expected):
    """Four, twelve and sixteen stems, two beside one another under their head, all find room."""
    heights = _heights(23, stems=stems)

    assert {panel: heights[panel] for panel in expected} == expected
    assert heights["scales"] == 7


def test_on_40_rows_sixteen_stems_leave_everything_else_its_room():
    """Three beside one another: large figures, all scales and a history."""
    heights = _heights(39, standing=2, stems=7)

    assert (heights["hero"], heights["standing"], heights["stems"]) == (8, 2, 7)
    assert heights["scales"] >= 8
    assert heights["history"] >= 6


def test_a_wall_shows_the_move_twice_as_large():
    """Fourteen rows for figures of two cells a dot."""
    assert _heights(80)["hero"] >= 14
