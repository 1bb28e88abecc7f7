"""A goal in one line, with how this programme compares with it now."""

from __future__ import annotations

import math
from itertools import accumulate

from sidecar.loudness.limits import is_over, side_of
from sidecar.model.readings import Reading
from sidecar.settings.goals import Goal
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Run, Tone, shortened

_COLUMNS = (("target", 12), ("tolerance", 12), ("ceiling", 11), ("now", 12))
"""With their widths."""
_GIVE_WAY = ("tolerance", "ceiling")
"""What is left out, in this order, where a name would have no room."""
_NAME_WIDTH = 12
_TITLE_WIDTH = 36
"""The longest one shipped. Titles begin alike: cut off they would look the same."""


def goal_head(width: int) -> Row:
    """What the columns of :func:`goal_row` are."""
    return _row(width, "goal", {name: (name, "dim") for name, _ in _COLUMNS}, "dim")


def goal_row(goal: Goal, reading: Reading, width: int) -> Row:
    """Title (the name on a narrow screen), target, tolerance, ceiling and the offset of *reading*."""
    room = min(_places(width).values())
    called = goal.title if goal.title and room > _TITLE_WIDTH else goal.name
    figures: dict[str, Run] = {
        "target": (f"{wording.plain(goal.target_lufs)} {goal.unit}", "strong"),
        "tolerance": (_tolerance(goal), "dim"),
        "ceiling": (f"{wording.plain(goal.ceiling_dbtp)} dBTP", "dim"),
        "now": _offset(goal, reading),
    }
    return _row(width, shortened(called, room - 1), figures, "plain")


def _places(width: int) -> dict[str, int]:
    """Where the columns begin that find room behind a name."""
    shown = dict(_COLUMNS)
    for name in _GIVE_WAY:
        if width - sum(shown.values()) < _NAME_WIDTH:
            del shown[name]
    starts = accumulate(shown.values(), initial=max(0, width - sum(shown.values())))
    return dict(zip(shown, starts, strict=False))


def _row(width: int, name: str, figures: dict[str, Run], tone: Tone) -> Row:
    cells = Cells(width)
    cells.put(0, name, tone)
    for column, x in _places(width).items():
        cells.put(x, *figures[column])
    return cells.row()


def _tolerance(goal: Goal) -> str:
    below, above = goal.tolerance_below_lu, goal.tolerance_above_lu
    if below == above:
        return f"±{below:g} LU"
    return f"to +{above:g} LU" if math.isinf(below) else f"−{below:g} +{above:g} LU"


def _offset(goal: Goal, reading: Reading) -> tuple[str, Tone]:
    if not math.isfinite(reading.integrated):
        return "nothing yet", "dim"
    side = side_of(reading.integrated, goal.lowest_lufs, goal.highest_lufs)
    offset = f"{wording.SHAPES[side]} {wording.signed(reading.integrated - goal.target_lufs)} LU"
    return (f"{offset} △", "ceiling") if is_over(reading.max_true_peak, goal.ceiling_dbtp) else (offset, side)
