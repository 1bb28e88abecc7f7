"""A goal in one line, with how this programme compares with it now."""

from __future__ import annotations

import math

from sidecar.loudness.limits import is_over
from sidecar.model.readings import Reading
from sidecar.settings.goals import Goal
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone, shortened

NUMBERS_WIDTH = 47
_TITLE_WIDTH = 36
"""The longest one shipped. Titles begin alike: cut off they would look the same."""


def goal_head(width: int) -> Row:
    """What the columns of :func:`goal_row` are."""
    cells = Cells(width)
    x = max(0, width - NUMBERS_WIDTH)
    for start, text in (
        (0, "goal"),
        (x, "target"),
        (x + 12, "tolerance"),
        (x + 24, "ceiling"),
        (x + 35, "now"),
    ):
        cells.put(start, text, "dim")
    return cells.row()


def goal_row(goal: Goal, reading: Reading, width: int) -> Row:
    """Title (the name on a narrow screen), target, tolerance, ceiling and the offset of *reading*."""
    cells = Cells(width)
    x = max(0, width - NUMBERS_WIDTH)
    called = goal.title if goal.title and x > _TITLE_WIDTH else goal.name
    cells.put(0, shortened(called, x - 1), "plain")
    cells.put(x, f"{wording.plain(goal.target_lufs)} {goal.unit}", "strong")
    cells.put(x + 12, _tolerance(goal), "dim")
    cells.put(x + 24, f"{wording.plain(goal.ceiling_dbtp)} dBTP", "dim")
    text, tone = _offset(goal, reading)
    cells.put(x + 35, text, tone)
    return cells.row()


def _tolerance(goal: Goal) -> str:
    below, above = goal.tolerance_below_lu, goal.tolerance_above_lu
    if below == above:
        return f"±{below:g} LU"
    return f"to +{above:g} LU" if math.isinf(below) else f"−{below:g} +{above:g} LU"


def _offset(goal: Goal, reading: Reading) -> tuple[str, Tone]:
    if not math.isfinite(reading.integrated):
        return "nothing yet", "dim"
    stand = wording.stand(reading.integrated, goal.lowest_lufs, goal.highest_lufs)
    offset = f"{wording.SHAPES[stand]} {wording.signed(reading.integrated - goal.target_lufs)} LU"
    return (
        (f"{offset} △", "ceiling") if is_over(reading.max_true_peak, goal.ceiling_dbtp) else (offset, stand)
    )
