"""How rows are shared out."""

import pytest

from tui.layout import plan

PANELS = ("heading", "hero", "rails", "course", "alerts", "outlets")


def _heights(rows, channels=2):
    shared = plan(rows, channels)
    return {panel: getattr(shared, panel) for panel in PANELS}


def test_24_rows_hold_everything():
    """80×24, one row of which is the footer."""
    expected = {"heading": 1, "hero": 7, "rails": 7, "course": 6, "alerts": 1, "outlets": 1}

    assert expected == _heights(23)


def test_40_rows_are_generous():
    """Thick bars, a row for each peak, targets in a row of their own, a tall course."""
    expected = {"heading": 1, "hero": 8, "rails": 12, "course": 15, "alerts": 1, "outlets": 2}

    assert expected == _heights(39)
    assert (2, 2) == (plan(39, 2).thickness, plan(39, 2).peak_rows)


@pytest.mark.parametrize("channels", [0, 1, 2, 6, 12])
def test_every_row_is_given_away(channels):
    """No size leaves a hole or overflows."""
    for rows in range(120):
        heights = _heights(rows, channels)

        assert rows == sum(heights.values())
        assert min(heights.values()) >= 0


def test_what_matters_most_goes_last():
    """The move is on the smallest screen, then the rails, then heading and alerts."""
    first_seen = {panel: next(rows for rows in range(60) if _heights(rows)[panel]) for panel in PANELS}

    assert ["hero", "rails", "heading", "alerts", "outlets", "course"] == sorted(
        first_seen, key=first_seen.get
    )


def test_a_wall_shows_the_move_twice_as_large():
    """Fourteen rows for figures of two cells a dot."""
    assert _heights(80)["hero"] >= 14
