"""Each channel's true peak and sample peak against the ceiling."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sidecar.delivery.report.sheet import Scale, Sheet
from sidecar.loudness.limits import is_over
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

_WIDTH, _ROW, _TOP, _FOOT = 460.0, 32.0, 44.0, 46.0
_LEFT, _RIGHT = 40.0, 336.0
_BELOW_DB, _ABOVE_DB = 24.0, 6.0


def peaks_sheet(
    channels: Sequence[str], true_peak: Sequence[float], sample_peak: Sequence[float], goal: Goal
) -> Sheet:
    """The drawing, 460 units wide and as high as there are channels.

    channels: names. true_peak: dBTP. sample_peak: dBFS. One a channel each.
    """
    bottom = _TOP + _ROW * len(channels)
    sheet = Sheet(
        "peaks", (_WIDTH, bottom + _FOOT), "Peaks of each channel", _description(channels, true_peak, goal)
    )
    highest = max(
        [goal.ceiling_dbtp + _ABOVE_DB, *(math.ceil(peak) for peak in true_peak if math.isfinite(peak))]
    )
    x = Scale(goal.ceiling_dbtp - _BELOW_DB, highest, _LEFT, _RIGHT)
    for level in x.ticks(8, (3, 6, 12)):
        sheet.line([(x.at(level), _TOP), (x.at(level), bottom)], "grid")
        sheet.text((x.at(level), bottom + 16), figure(level).removesuffix(".0"), "middle")
    for row, (name, peak, sample) in enumerate(zip(channels, true_peak, sample_peak, strict=True)):
        _draw_row(sheet, x, _TOP + row * _ROW, (name, peak, sample), goal)
    ceiling = x.at(goal.ceiling_dbtp)
    sheet.line([(ceiling, _TOP - 8), (ceiling, bottom)], "ceiling-line")
    sheet.text((ceiling, _TOP - 14), f"ceiling {figure(goal.ceiling_dbtp)} dBTP", "middle ceiling-words")
    sheet.text((_LEFT, bottom + 38), "bar: true peak, dBTP; upright stroke: sample peak, dBFS", "start")
    return sheet


def _draw_row(sheet: Sheet, x: Scale, top: float, channel: tuple[str, float, float], goal: Goal) -> None:
    name, peak, sample = channel
    middle = top + _ROW / 2
    over = is_over(peak, goal.ceiling_dbtp)
    sheet.text((_LEFT - 10, middle + 4), name, "strong end")
    if math.isfinite(peak):
        sheet.box((_LEFT, middle - 7), (x.at(peak), middle + 7), "level too-high" if over else "level")
        sheet.mark((x.at(peak), middle), "ceiling" if over else "inside")
    if math.isfinite(sample):
        sheet.line([(x.at(sample), middle - 11), (x.at(sample), middle + 11)], "sample")
    look = "ceiling-words strong" if over else ""
    sheet.text((_RIGHT + 14, middle + 4), f"{figure(peak)} dBTP{', too high' if over else ''}", look)


def _description(channels: Sequence[str], true_peak: Sequence[float], goal: Goal) -> str:
    each = ", ".join(f"{name} {figure(peak)} dBTP" for name, peak in zip(channels, true_peak, strict=True))
    return f"The highest true peak of each channel; the ceiling is {figure(goal.ceiling_dbtp)} dBTP: {each}."
