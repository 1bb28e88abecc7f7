"""The scale of a measure: its middle is the goal. Left is under, right is over.

The scale is a lens: around the goal one LU takes many cells, far away few, so that a tolerance of
0.2 LU and an offset of 18 LU are both seen. It follows asinh, which is even near zero and
logarithmic far out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from sidecar.loudness.limits import Side
from tui.drawing.cells import Cells, Row, Tone
from tui.drawing.wording import SHAPES, signed

GRADUATION_LU = (1.0, 3.0, 9.0, 18.0)
"""Labelled offsets to both sides besides the reach; 9 and 18 are ends of scales in EBU Tech 3341 §2.7."""
_MINOR_LU = (0.5, *range(1, 10), 12.0, 15.0, 18.0, 24.0, 30.0)
"""Offsets with a tick where no label lies: they crowd together, so that the lens is seen to be one."""


@dataclass(frozen=True, slots=True)
class GoalScale:
    """Geometry of all scales of a screen: how many cells, and how many LU to each side."""

    width: int
    reach_lu: float

    @property
    def middle(self) -> int:
        """The cell of the goal."""
        return (self.width - 1) // 2

    def cell(self, offset_lu: float) -> int:
        """The cell of an offset from the goal; beyond the reach it is the outermost one."""
        held = max(-self.reach_lu, min(self.reach_lu, offset_lu))
        return self.middle + round(math.asinh(held) / math.asinh(self.reach_lu) * self.middle)

    def offset_lu(self, cell: float) -> float:
        """The offset from the goal at a cell, or between two."""
        return math.sinh((cell - self.middle) / max(1, self.middle) * math.asinh(self.reach_lu))


@lru_cache(maxsize=8)
def scale_row(scale: GoalScale) -> Row:
    """The graduation that is drawn over all scales."""
    cells = Cells(scale.width, tone="faint")
    _label(cells, scale.middle, "goal", "dim")
    for offset in (scale.reach_lu, *GRADUATION_LU):
        for side in (-offset, offset):
            if offset <= scale.reach_lu:
                _label(cells, scale.cell(side), signed(side).removesuffix(".0"))
    for offset in _MINOR_LU:
        for x in (scale.cell(-offset), scale.cell(offset)):
            if offset < scale.reach_lu and all(cells[near][0] == " " for near in (x - 1, x, x + 1)):
                cells.put(x, "╷", "track")
    return cells.row()


def _label(cells: Cells, middle: int, text: str, tone: Tone = "faint") -> None:
    """Centre *text*, kept inside the row; left out where it would touch another label."""
    start = max(0, min(cells.width - len(text), middle - len(text) // 2))
    around = range(max(0, start - 1), min(cells.width, start + len(text) + 1))
    if all(cells[x][0] == " " for x in around):
        cells.put(start, text, tone)


def track(scale: GoalScale, zone: tuple[float, float] | None) -> Cells:
    """An empty scale with the pass zone (offsets from the goal, LU) shaded and the goal marked."""
    cells = Cells(scale.width, "─", "track")
    if zone is not None:
        low, high = scale.cell(zone[0]), scale.cell(zone[1])
        cells.put(low, "░" * (high - low + 1), "zone")
    cells.paint(scale.middle, "┼", "dim")
    return cells


def offset_row(
    scale: GoalScale,
    offset: float,
    side: Side,
    zone: tuple[float, float],
    *,
    furthest: float | None = None,
    shape: str = "",
) -> Row:
    """A measure as a bar from the goal to its value.

    furthest: offset of the highest value so far, drawn as a tick. shape: at the bar's end, where it is
    another one than that of *side*.
    """
    cells = track(scale, zone)
    if furthest is not None and math.isfinite(furthest):
        cells.paint(scale.cell(furthest), "╂", "strong")
    if not math.isfinite(offset):
        return cells.row()
    _bar(cells, scale, offset, "█", side)
    ink = _bar_ink(side)
    cells.paint(scale.cell(offset), shape or SHAPES[side], f"paper on {ink} bold")
    return cells.row()


def offset_shade(scale: GoalScale, offset: float, side: Side) -> Row:
    """The lower row of a thick bar: half as high, so that bars stay apart, and without a scale of its own."""
    cells = Cells(scale.width)
    if math.isfinite(offset):
        _bar(cells, scale, offset, "▀", side)
    return cells.row()


def _bar(cells: Cells, scale: GoalScale, offset: float, char: str, side: Side) -> None:
    low, high = sorted((scale.middle, scale.cell(offset)))
    cells.put(low, char * (high - low + 1), _bar_ink(side))


def _bar_ink(side: Side) -> Tone:
    return "level" if side == "inside" else side


def range_row(
    scale: GoalScale, likely: tuple[float, float, float], side: Side, zone: tuple[float, float], ink: Tone
) -> Row:
    """A forecast: *likely* is low, central and high offset; the width says how sure it is."""
    cells = track(scale, zone)
    _, centre, _ = likely
    if math.isfinite(centre):
        _range(cells, scale, likely, ink)
        cells.paint(scale.cell(centre), SHAPES[side], f"{ink} bold")
    return cells.row()


def range_shade(scale: GoalScale, likely: tuple[float, float, float], ink: Tone) -> Row:
    """The lower row of a thick forecast, without a scale of its own."""
    cells = Cells(scale.width)
    if math.isfinite(likely[1]):
        _range(cells, scale, likely, ink)
    return cells.row()


def _range(cells: Cells, scale: GoalScale, likely: tuple[float, float, float], ink: Tone) -> None:
    low, _, high = likely
    if math.isfinite(low) and math.isfinite(high):
        start, end = scale.cell(low), scale.cell(high)
        cells.put(start, "▒" * (end - start + 1), ink)


LIVE_FLOOR_DBTP = -60.0
"""A channel whose peaks stay under it is drawn as dead: below any programme, above any converter's noise."""


def peaks_row(
    scale: GoalScale,
    peaks: Sequence[tuple[str, float]],
    live: Sequence[float] = (),
    *,
    ceiling_dbtp: float = 0.0,
    halves: str = "▀▄",
) -> Row:
    """Highest peaks against the ceiling, which is the middle; *peaks* are (mark, offset in dB).

    live: dBTP of one or two channels now, drawn as bars from the left edge, two of them in halves of the
    row, *halves*; one that is silent has none.
    """
    cells = track(scale, None)
    _live_bars(cells, scale, [level - ceiling_dbtp for level in live], ceiling_dbtp, halves)
    cells.paint(scale.middle, "△", "ceiling")
    finite = sorted((peak for peak in peaks if math.isfinite(peak[1])), key=lambda peak: peak[1])
    if not finite:
        return cells.row()
    end = scale.cell(finite[-1][1])
    if end > scale.middle:
        cells.put(scale.middle + 1, "█" * (end - scale.middle), "ceiling")
    taken: set[int] = set()
    for mark, offset in reversed(finite):
        x = scale.cell(offset)
        while x in taken and x > 0:
            x -= 1
        taken.add(x)
        cells.paint(x, mark, "ceiling bold" if offset > 0.0 else "strong")
    return cells.row()


def _live_bars(
    cells: Cells, scale: GoalScale, live: Sequence[float], ceiling_dbtp: float, halves: str
) -> None:
    """Bars of one or two channels; *live* are offsets from the ceiling."""
    if not 0 < len(live) <= 2:
        return
    upper, lower = (
        scale.cell(min(0.0, offset)) if offset + ceiling_dbtp > LIVE_FLOOR_DBTP else -1
        for offset in (live[0], live[-1])
    )
    both = min(upper, lower) + 1
    cells.put(0, "█" * both, "fill")
    cells.put(both, halves[upper < lower] * (max(upper, lower) + 1 - both), "fill")
