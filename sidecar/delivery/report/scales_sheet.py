"""A measure as its offset from what it is compared with: left is under, right is over.

The scale is a lens, even near zero and logarithmic far out (asinh), so that a tolerance of 0.2 LU
and an offset of 18 LU are both seen.
"""

from __future__ import annotations

import math

from sidecar.delivery.report.sheet import Shape, Sheet
from sidecar.model.units import figure

_WIDTH, _HEIGHT, _MIDDLE_Y = 260.0, 22.0, 11.0
_REACH_LU = 18.0
_HALF = _WIDTH / 2 - 8.0


def scale_sheet(name: str, offset: float, zone: tuple[float, float], shape: Shape) -> Sheet:
    """The drawing, 260 by 22 units.

    offset: of the measure from the goal or limit, LU or dB. zone: the offsets that pass.
    """
    words = (
        "at the middle"
        if offset == 0
        else f"{figure(abs(offset))} to the {'right' if offset > 0 else 'left'}"
    )
    sheet = Sheet(f"scale-{name}", (_WIDTH, _HEIGHT), f"Offset of {name}", f"The value is {words}.")
    sheet.box((_x(zone[0]), 2), (_x(zone[1]), _HEIGHT - 2), "pass-zone")
    sheet.line([(_x(-_REACH_LU), _MIDDLE_Y), (_x(_REACH_LU), _MIDDLE_Y)], "grid")
    for lu in (-9, -3, -1, 1, 3, 9):
        sheet.line([(_x(lu), _MIDDLE_Y - 3), (_x(lu), _MIDDLE_Y + 3)], "grid")
    sheet.line([(_x(0), 2), (_x(0), _HEIGHT - 2)], "target")
    sheet.mark((_x(offset), _MIDDLE_Y), shape)
    return sheet


def _x(offset: float) -> float:
    held = max(-_REACH_LU, min(_REACH_LU, offset))
    return _WIDTH / 2 + math.asinh(held) / math.asinh(_REACH_LU) * _HALF
