"""The upright axis of the history: the lens of the scales, turned.

Around the goal one LU takes many eighths of a row, far away few; the goal lies between two rows, in the
middle third.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tui.drawing.scale import GRADUATION_LU

EIGHTHS = 8
_STEPS_LU = (3.0, 6.0, 9.0, 18.0, 36.0)
"""Reaches that an axis may have to each side; 9, 18 and 36 end the scales of EBU Tech 3341 §2.7."""
_LEAST_BELOW_LU = 6.0
_FAR_LU = 1e6
"""Beyond any reach, silence included."""


@dataclass(frozen=True, slots=True)
class Reach:
    """How many LU over and under the goal are wanted in sight."""

    above_lu: float = _STEPS_LU[0]
    below_lu: float = _LEAST_BELOW_LU

    def joined(self, other: Reach) -> Reach:
        """The wider of both to each side."""
        return Reach(max(self.above_lu, other.above_lu), max(self.below_lu, other.below_lu))


def reach_for(highest_lu: float, lowest_lu: float, most_lu: float) -> Reach:
    """The smallest reach that shows offsets from *lowest_lu* to *highest_lu*, at most *most_lu* to a side."""
    steps = [lu for lu in _STEPS_LU if lu <= most_lu]
    return Reach(_step(steps, highest_lu), _step(steps, max(_LEAST_BELOW_LU, -lowest_lu)))


def _step(steps: Sequence[float], needed_lu: float) -> float:
    return next((lu for lu in steps if lu >= needed_lu), steps[-1])


@dataclass(frozen=True)
class Axis:
    """So many rows that show a reach, each side of the goal stretched to whole rows."""

    rows: int
    reach: Reach = Reach()

    @cached_property
    def above(self) -> int:
        """Rows above the goal."""
        over, under = math.asinh(self.reach.above_lu), math.asinh(self.reach.below_lu)
        share = min(2.0 / 3.0, max(1.0 / 3.0, over / (over + under)))
        return min(self.rows - 1, max(self.rows // 2 and 1, round(self.rows * share)))

    @cached_property
    def _per_lens(self) -> tuple[float, float]:
        """Eighths of a row for a unit on the lens, over and under the goal."""
        return (
            self.above * EIGHTHS / math.asinh(self.reach.above_lu),
            self.goal / math.asinh(self.reach.below_lu),
        )

    @cached_property
    def goal(self) -> int:
        """Height of the goal, in eighths of a row above the floor."""
        return (self.rows - self.above) * EIGHTHS

    @cached_property
    def top(self) -> int:
        """Height of the upper edge, in eighths."""
        return self.rows * EIGHTHS

    def heights(self, offsets_lu: NDArray[np.floating]) -> NDArray[np.int64]:
        """Heights of offsets from the goal, in eighths of a row above the floor, kept within the axis; one
        more than the upper edge where an offset is cut there."""
        over, under = self._per_lens
        lens = np.arcsinh(np.where(np.isnan(offsets_lu), -np.inf, offsets_lu).clip(-_FAR_LU, _FAR_LU))
        steps = np.where(lens > 0.0, lens * over, lens * under)
        heights: NDArray[np.int64] = np.clip(np.rint(steps) + self.goal, 0, self.top + 1).astype(np.int64)
        return heights

    def eighths(self, offset_lu: float) -> int:
        """As :meth:`heights`, of one offset and never beyond the upper edge."""
        if math.isnan(offset_lu):
            return 0
        over, under = self._per_lens
        lens = math.asinh(max(-_FAR_LU, min(_FAR_LU, offset_lu)))
        return max(0, min(self.top, self.goal + round(lens * (over if lens > 0.0 else under))))

    def labels(self) -> Iterator[tuple[int, float]]:
        """Rows, counted from the top, with the offset that is written beside each: the goal, both ends, and
        graduations where two rows at least lie between."""
        taken: list[int] = []
        ends = (0.0, *((self.reach.above_lu,) if self.above else ()), -self.reach.below_lu)
        for offset in (*ends, *(side for lu in GRADUATION_LU for side in (lu, -lu))):
            height = self.eighths(offset)
            row = min(self.rows - 1, self.rows - 1 - (height - (offset > 0.0)) // EIGHTHS)
            row = self.above if offset == 0.0 else max(0, row)
            if all(abs(row - other) > 1 for other in taken) or (offset in ends and row not in taken):
                taken.append(row)
                yield min(row, self.rows - 1), offset
