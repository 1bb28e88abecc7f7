"""How often each short-term loudness occurs, with the gate and the ends of the loudness range.

EBU Tech 3342 §3.1 and §5: short-term values from −70 LUFS on, then those from 20 LU under their power
mean on; the range reaches from the 10th to the 95th percentile of what is left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sidecar.delivery.measure.whole_file import Measured
from sidecar.delivery.report.sheet import Scale, Sheet
from sidecar.model.readings import SILENCE, FloatArray, Reading
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

_ABSOLUTE_GATE_LUFS, _RELATIVE_GATE_LU = -70.0, 20.0
_LOW_PERCENT, _HIGH_PERCENT = 10, 95
_BIN_LU = 0.5
_FIRST = 29
"""The first block, of 0.1 s, at whose end a window of 3 s is full."""

_SIZE = (460.0, 280.0)
_LEFT, _RIGHT, _TOP, _BOTTOM = 44.0, 450.0, 56.0, 234.0


@dataclass(frozen=True, slots=True)
class Spread:
    """What the loudness range is taken from, LUFS; all silence where nothing passes the gate."""

    gate: float = SILENCE
    low: float = SILENCE
    high: float = SILENCE


def spread_of(short_term: FloatArray) -> Spread:
    """The spread of short-term values at 10 a second, LUFS, shape (n,)."""
    gated = short_term[short_term >= _ABSOLUTE_GATE_LUFS]
    if not gated.size:
        return Spread()
    gate = 10.0 * math.log10(float(np.mean(10.0 ** (gated / 10.0)))) - _RELATIVE_GATE_LU
    kept = np.sort(gated[gated >= gate])
    low, high = (
        float(kept[math.floor((kept.size - 1) * percent / 100 + 0.5)])
        for percent in (_LOW_PERCENT, _HIGH_PERCENT)
    )
    return Spread(gate, low, high)


def levels_sheet(measured: Measured, goal: Goal) -> Sheet:
    """The drawing, 460 by 280 units."""
    short_term = measured.history.short_term[_FIRST:]
    spread = spread_of(short_term)
    sheet = Sheet("levels", _SIZE, "How loud, how often", _description(spread, measured.reading, goal))
    gated = short_term[short_term >= _ABSOLUTE_GATE_LUFS]
    if not gated.size:
        sheet.text(
            (_SIZE[0] / 2, _SIZE[1] / 2), "Shorter than 3 s, or nothing louder than −70 LUFS.", "middle"
        )
        return sheet
    x = _level_scale(gated, spread, goal)
    sheet.box((x.at(goal.lowest_lufs), _TOP), (x.at(goal.highest_lufs), _BOTTOM), "pass-zone")
    _draw_bars(sheet, x, gated, spread.gate)
    target = x.at(goal.target_lufs)
    sheet.line([(target, _TOP), (target, _BOTTOM)], "target")
    sheet.mark((target, _BOTTOM), "inside", 4.0)
    for lufs in x.ticks(10, (1, 2, 3, 6, 12)):
        sheet.line([(x.at(lufs), _BOTTOM), (x.at(lufs), _BOTTOM + 4)], "frame")
        sheet.text((x.at(lufs), _BOTTOM + 18), figure(lufs).removesuffix(".0"), "middle")
    sheet.line([(_LEFT, _BOTTOM), (_RIGHT, _BOTTOM)], "frame")
    sheet.text((_RIGHT, _BOTTOM + 38), f"short-term loudness, {goal.unit}; the diamond is the goal", "end")
    _draw_range(sheet, x, spread, measured.reading.loudness_range)
    return sheet


def _level_scale(gated: FloatArray, spread: Spread, goal: Goal) -> Scale:
    lowest = min(spread.gate - 1.0, goal.target_lufs - 3.0)
    highest = max(float(gated.max()) + 1.0, goal.highest_lufs + 3.0)
    return Scale(math.floor(max(_ABSOLUTE_GATE_LUFS, lowest)), math.ceil(highest), _LEFT, _RIGHT)


def _draw_bars(sheet: Sheet, x: Scale, gated: FloatArray, gate: float) -> None:
    edges = np.arange(x.low, x.high + _BIN_LU, _BIN_LU)
    counts, _ = np.histogram(gated, edges)
    share = 100.0 * counts / gated.size
    top = max(1.0, float(share.max()))
    y = Scale(0.0, top, _BOTTOM, _TOP)
    for percent in y.ticks(4, (1, 2, 5, 10, 20, 25, 50)):
        sheet.line([(_LEFT, y.at(percent)), (_RIGHT, y.at(percent))], "grid")
        sheet.text((_LEFT - 6, y.at(percent) + 4), f"{percent:.0f} %", "end")
    for start, height in zip(edges[:-1].tolist(), share.tolist(), strict=True):
        if height > 0.0:
            look = "bar" if start + _BIN_LU > gate else "bar faint"
            sheet.box((x.at(start) + 0.5, y.at(height)), (x.at(start + _BIN_LU) - 0.5, _BOTTOM), look)


def _draw_range(sheet: Sheet, x: Scale, spread: Spread, range_lu: float) -> None:
    gate = x.at(spread.gate)
    sheet.line([(gate, _TOP - 14), (gate, _BOTTOM)], "limit")
    sheet.text((gate + 5, _TOP - 6), f"gate {figure(spread.gate)}", "over-words")
    low, high, y = x.at(spread.low), x.at(spread.high), _TOP - 26
    sheet.line([(low, y + 8), (low, y), (high, y), (high, y + 8)], "bracket")
    words = f"range {figure(range_lu)} LU: {figure(spread.low)} to {figure(spread.high)}"
    look = "middle" if _LEFT + 130 < (low + high) / 2 < _RIGHT - 130 else "end"
    sheet.text(((low + high) / 2 if look == "middle" else _RIGHT, y - 6), words, f"strong {look}")


def _description(spread: Spread, reading: Reading, goal: Goal) -> str:
    if not math.isfinite(spread.high):
        return "There is no short-term loudness above the absolute gate of −70 LUFS."
    return (
        f"A histogram of the short-term loudness. Above the range's gate at {figure(spread.gate)} "
        f"{goal.unit}, nine tenths are louder than {figure(spread.low)}, one twentieth than "
        f"{figure(spread.high)}. The loudness range is {figure(reading.loudness_range)} LU (EBU Tech 3342)."
    )
