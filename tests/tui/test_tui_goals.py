"""A goal in one line."""

import math
from dataclasses import replace

import pytest
from scripted_feed import BROADCAST, EXCHANGE

from sidecar.model.readings import Reading
from sidecar.settings.goals import all_goals
from tui.drawing.cells import text_of
from tui.drawing.panels.goals import goal_head, goal_row

HOT = Reading(integrated=-22.1, max_true_peak=-1.5)


def test_a_row_stands_under_its_head():
    """Target, tolerance, ceiling and what the programme would read against it now."""
    assert text_of(goal_head(66)) == "goal               target      tolerance   ceiling    now         "
    assert (
        text_of(goal_row(BROADCAST, HOT, 66))
        == "production         −23.0 LUFS  ±0.2 LU     −1.0 dBTP  ▷ +0.9 LU   "
    )


def test_on_a_narrow_screen_the_name_stays_and_columns_give_way():
    assert text_of(goal_head(51)).split() == ["goal", "target", "ceiling", "now"]
    assert text_of(goal_row(BROADCAST, HOT, 40)).split() == ["production", "−23.0", "LUFS", "▷", "+0.9", "LU"]


def test_peaks_over_a_goals_ceiling_are_marked():
    """Inside the tolerance and still not deliverable: the ceiling's shape says so."""
    row = goal_row(EXCHANGE, HOT, 66)

    assert text_of(row).rstrip().endswith("◇ +1.9 LU △")
    assert [tone for text, tone in row if "+1.9" in text] == ["ceiling"]


@pytest.mark.parametrize("columns", [59, 80, 120])
def test_no_two_goals_look_alike(columns):
    """At 80 columns as well, where three titles would be cut off at the same letters."""
    width = min(100, columns) - 8
    target = text_of(goal_head(width)).index("target")
    shown = [text_of(goal_row(goal, HOT, width))[:target].strip() for goal in all_goals()]

    assert sorted(set(shown)) == sorted(shown)
    assert "aes-album" in shown[1] or "AES77, album" in shown[1]


def test_a_goal_without_a_lower_end_says_up_to_where():
    """Infinity is no figure for a person."""
    album = replace(BROADCAST, tolerance_below_lu=math.inf)

    assert " to +0.2 LU  −1.0" in text_of(goal_row(album, HOT, 66))


def test_before_the_first_gated_block_there_is_no_offset():
    """Nothing was measured, so nothing is compared."""
    assert text_of(goal_row(BROADCAST, Reading(), 66)).rstrip().endswith("nothing yet")
