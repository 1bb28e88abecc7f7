"""Cells that are painted in part: eighths of a cell, from the floor or from the ceiling."""

from __future__ import annotations

from functools import cache

LOWER = " ▁▂▃▄▅▆▇█"
"""A cell painted from its floor, by eighths."""
_EIGHTHS = 8


@cache
def part_of_cell(low: int, high: int) -> tuple[str, bool]:
    """The character that paints the eighths *low* to *high* of a cell best, and whether ink and ground
    change places: a cell painted from its ceiling is the ground left over a cell painted from its floor."""
    low, high = max(0, low), min(_EIGHTHS, high)
    shapes = [(LOWER[top], False, 0, top) for top in range(_EIGHTHS + 1)]
    shapes += [(LOWER[floor], True, floor, _EIGHTHS) for floor in range(1, _EIGHTHS)]
    shapes.append(("━", False, 3, 5))
    char, is_inverse, *_ = min(shapes, key=lambda shape: abs(shape[2] - low) + abs(shape[3] - high))
    return char, is_inverse
