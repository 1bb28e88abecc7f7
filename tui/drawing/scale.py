"""The scale of a measure: its middle is the goal. Left is under, right is over.

The scale is a lens: around the goal one LU takes many cells, far away few, so that a tolerance of
0.2 LU and an offset of 18 LU are both seen. It follows asinh, which is even near zero and
logarithmic far out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tui.drawing.cells import Cells, Row, Tone
from tui.drawing.wording import SHAPES, Stand, signed

GRADUATION_LU = (1.0, 3.0, 9.0, 18.0)
"""Labelled offsets to both sides besides the reach; 9 and 18 are ends of scales in EBU Tech 3341 §2.7."""


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


def scale_row(scale: GoalScale) -> Row:
    """The graduation that stands over all scales."""
    cells = Cells(scale.width, tone="faint")
    _label(cells, scale.middle, "goal", "dim")
    for offset in (scale.reach_lu, *GRADUATION_LU):
        for side in (-offset, offset):
            if offset <= scale.reach_lu:
                _label(cells, scale.cell(side), signed(side).removesuffix(".0"))
    return cells.row()


def _label(cells: Cells, middle: int, text: str, tone: Tone = "faint") -> None:
    """Centre *text*, kept inside the row; left out where it would touch another label."""
    start = max(0, min(cells.width - len(text), middle - len(text) // 2))
    around = range(max(0, start - 1), min(cells.width, start + len(text) + 1))
    if all(cells[x][0] == " " for x in around):
        cells.put(start, text, tone)


def track(scale: GoalScale, zone: tuple[float, float] | None) -> Cells:
    """An empty scale with the zone (offsets from the goal, LU) shaded and the goal marked."""
    cells = Cells(scale.width, "─", "track")
    if zone is not None:
        low, high = scale.cell(zone[0]), scale.cell(zone[1])
        cells.put(low, "░" * (high - low + 1), "zone")
    cells.put(scale.middle, "┼", "dim")
    return cells


def offset_row(
    scale: GoalScale,
    offset: float,
    stand: Stand,
    zone: tuple[float, float],
    *,
    furthest: float | None = None,
    marked: bool = True,
) -> Row:
    """A measure as a bar from the goal to where it stands.

    furthest: offset of the highest value so far, drawn as a tick. marked: put the stand's shape at
    the bar's end; the further row of a thick bar leaves it out, and is half as high, so that bars stay apart.
    """
    cells = track(scale, zone)
    if furthest is not None and math.isfinite(furthest):
        cells.put(scale.cell(furthest), "╂", "strong")
    if not math.isfinite(offset):
        return cells.row()
    end = scale.cell(offset)
    low, high = sorted((scale.middle, end))
    ink = "level" if stand == "inside" else stand
    cells.put(low, ("█" if marked else "▀") * (high - low + 1), ink)
    if marked:
        cells.put(end, SHAPES[stand], f"paper on {ink} bold")
    return cells.row()


def band_row(
    scale: GoalScale,
    band: tuple[float, float, float],
    stand: Stand,
    zone: tuple[float, float],
    *,
    marked: bool = True,
) -> Row:
    """A forecast: *band* is low, central and high offset; the width says how sure it is."""
    cells = track(scale, zone)
    low, centre, high = band
    if not math.isfinite(centre):
        return cells.row()
    if math.isfinite(low) and math.isfinite(high):
        start, end = scale.cell(low), scale.cell(high)
        cells.put(start, "▒" * (end - start + 1), stand)
    if marked:
        cells.put(scale.cell(centre), SHAPES[stand], f"{stand} bold")
    return cells.row()


def peaks_row(scale: GoalScale, peaks: Sequence[tuple[str, float]]) -> Row:
    """Highest peaks against the ceiling, which is the middle; *peaks* are (mark, offset in dB)."""
    cells = track(scale, None)
    cells.put(scale.middle, "△", "ceiling")
    finite = sorted((peak for peak in peaks if math.isfinite(peak[1])), key=lambda peak: peak[1])
    if not finite:
        return cells.row()
    end = scale.cell(finite[-1][1])
    if end < scale.middle:
        cells.put(end, "╌" * (scale.middle - end), "dim")
    elif end > scale.middle:
        cells.put(scale.middle + 1, "█" * (end - scale.middle), "ceiling")
    taken: set[int] = set()
    for mark, offset in reversed(finite):
        x = scale.cell(offset)
        while x in taken and x > 0:
            x -= 1
        taken.add(x)
        cells.put(x, mark, "ceiling bold" if offset > 0.0 else "strong")
    return cells.row()
