"""The chart of the history: short-term as an area, integrated as a line, the forecast ahead of now."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.model.headline import chosen
from sidecar.model.readings import Move
from tui.drawing import wording
from tui.drawing.axis import EIGHTHS, Axis
from tui.drawing.blocks import LOWER, part_of_cell
from tui.drawing.cells import Cells, Tone
from tui.drawing.columns import Columns, Window, columns_with_dialogue
from tui.drawing.panels.advice import landing_ink, landing_side
from tui.drawing.panels.events import guide_columns
from tui.drawing.panels.overs import short_term_line
from tui.drawing.view import View

CUT = "▲"
"""On the upper edge of a column that goes on above it."""
UNDER = "·"
"""On the floor of a column that lies under it."""
DIALOGUE = "▁"
"""Along the floor of a column with dialogue."""
PLAIN_BAND, PLAIN_AHEAD = ".", ":"
"""The pass zone and the forecast where there are no half blocks: unlike the programme's own signs."""
_THIRDS = "▁━▔"
"""A level line of one weight, an eighth of a cell, in the lower, middle and upper third of it."""


def draw_chart(view: View, shown: Window, columns: Columns, axis: Axis) -> list[Cells]:
    """The rows of the chart, top to bottom."""
    target = view.snapshot.goal.target_lufs
    chart = [_ground(view, axis, y, shown.count) for y in range(axis.rows)]
    for x in guide_columns(view.history.events, shown):
        for row in chart:
            if row[x][0] == " ":
                row.paint(x, "┊", "faint")
    _fill_columns(view, columns, axis, chart)
    _draw_forecast(view, shown, axis, chart)
    _draw_dialogue(view, shown, chart)
    known = np.isfinite(columns.integrated)
    heights = axis.heights(columns.integrated - target)
    for x in np.flatnonzero(known).tolist():
        _draw_line(chart, x, int(heights[x]), "strong")
    return chart


def _fill_columns(view: View, columns: Columns, axis: Axis, chart: list[Cells]) -> None:
    target, line_lufs = view.snapshot.goal.target_lufs, short_term_line(view.snapshot.goal)
    low, high = (axis.heights(levels - target).tolist() for levels in (columns.low, columns.high))
    is_hot = (columns.high > line_lufs).tolist()
    hot = axis.eighths(line_lufs - target)
    for x in np.flatnonzero(~np.isnan(columns.high)).tolist():
        _fill(chart, x, (low[x], high[x]), hot if is_hot[x] else axis.top)
        if high[x] > axis.top:
            chart[0].paint(x, CUT, "over bold")
        elif not high[x]:
            chart[-1].paint(x, UNDER, "faint")


def _draw_dialogue(view: View, shown: Window, chart: list[Cells]) -> None:
    """A line along the floor where there is dialogue."""
    floor = chart[-1]
    for x in columns_with_dialogue(view.history, shown):
        ground = _plain_ground(floor, x)
        floor.paint(x, DIALOGUE if view.half_blocks else '"', f"strong on {ground}" if ground else "strong")


def _ground(view: View, axis: Axis, y: int, width: int) -> Cells:
    """An empty row of the chart with the pass zone where it crosses."""
    goal = view.snapshot.goal
    floor = (axis.rows - 1 - y) * EIGHTHS
    top = max(axis.goal + 1, axis.eighths(goal.tolerance_above_lu)) - floor
    bottom = min(axis.goal - 1, axis.eighths(-goal.tolerance_below_lu)) - floor
    if top <= 0 or bottom >= EIGHTHS:
        return Cells(width)
    if not view.half_blocks:
        return Cells(width, PLAIN_BAND, "faint")
    if bottom <= 0 and top >= EIGHTHS:
        return Cells(width, " ", "plain on band")
    char, is_inverse = part_of_cell(bottom, top)
    return Cells(width, char, "paper on band" if is_inverse else "band")


def _fill(chart: list[Cells], x: int, span: tuple[int, int], hot: int) -> None:
    """One column: solid up to the lowest short-term in it, softer from there to the highest.

    Cells that reach above *hot*, in eighths, are drawn as over.
    """
    low, high = span
    for y in range(max(0, len(chart) - 1 - (high - 1) // EIGHTHS), len(chart)):
        row, floor = chart[y], (len(chart) - 1 - y) * EIGHTHS
        solid, soft = ("over", "over") if floor + EIGHTHS > hot else ("fill", "soft")
        if high < floor + EIGHTHS:
            ground = " on band" if row[x][1].endswith("on band") else ""
            row.paint(x, LOWER[high - floor], (solid if low >= high else soft) + ground)
        elif low >= floor + EIGHTHS:
            row.paint(x, "█", solid)
        else:
            row.paint(x, LOWER[max(0, low - floor)], f"{solid} on {soft}")


def _draw_line(chart: list[Cells], x: int, height: int, tone: Tone) -> None:
    """A level line through one cell that keeps the ground it crosses. Where an edge is drawn in that cell
    already, the line goes along the nearer border of it instead."""
    height = max(0, min(len(chart) * EIGHTHS - 1, height))
    y, inside = len(chart) - 1 - height // EIGHTHS, height % EIGHTHS
    here = (y, _THIRDS[min(2, inside * 3 // EIGHTHS)])
    below, above = (y + 1, _THIRDS[2]), (y - 1, _THIRDS[0])
    places = (here, below, above) if inside < EIGHTHS // 2 else (here, above, below)
    for row, char in places:
        if 0 <= row < len(chart) and (ground := _plain_ground(chart[row], x)) is not None:
            chart[row].paint(x, char, f"{tone} on {ground}" if ground else tone)
            return


def _plain_ground(row: Cells, x: int) -> str | None:
    """The one ink that fills a cell, empty for the paper; None where an edge lies in it."""
    char, under = row[x]
    if char == "█":
        return under.split(" on ")[0].removesuffix(" bold")
    if char in (" ", "┊", PLAIN_BAND, PLAIN_AHEAD, *_THIRDS):
        return under.split(" on ")[1] if " on " in under else ""
    return None


@dataclass(frozen=True, slots=True)
class _Forecast:
    """The wedge from the integrated loudness now to the landing at the end of the programme."""

    move: Move
    start_lufs: float
    now_s: float
    duration_s: float

    def at(self, seconds: NDArray[np.floating]) -> list[NDArray[np.floating]]:
        """Low end, centre and high end of it at each of the moments, LUFS."""
        share = np.minimum(1.0, (seconds - self.now_s) / (self.duration_s - self.now_s))
        move = self.move
        low, high = (
            end if math.isfinite(end) else move.landing for end in (move.landing_low, move.landing_high)
        )
        return [self.start_lufs + (end - self.start_lufs) * share for end in (low, move.landing, high)]


def _forecast_of(view: View) -> _Forecast | None:
    """The forecast that is shown large; None without an end of the pass, or without a landing of it."""
    snapshot = view.snapshot
    call, duration_s, now_s = chosen(snapshot), snapshot.duration_s, snapshot.reading.seconds
    if call.scope != "this pass" or duration_s is None or not now_s < duration_s:
        return None
    if not math.isfinite(call.move.landing):
        return None
    integrated = snapshot.reading.integrated
    return _Forecast(
        call.move, integrated if math.isfinite(integrated) else call.move.landing, now_s, duration_s
    )


def _draw_forecast(view: View, shown: Window, axis: Axis, chart: list[Cells]) -> None:
    forecast = _forecast_of(view)
    if forecast is None:
        return
    target = view.snapshot.goal.target_lufs
    side = landing_side(view.snapshot.goal, forecast.move)
    tone = landing_ink(view.snapshot, forecast.move)
    first, last = shown.column(forecast.now_s) + 1, shown.column(forecast.duration_s)
    columns = np.arange(max(0, first), min(shown.count, last + 1))
    ends = forecast.at((shown.first + columns + 1) * shown.width_s)
    heights = (np.minimum(axis.heights(lufs - target), axis.top).tolist() for lufs in ends)
    for x, low, centre, high in zip(columns.tolist(), *heights, strict=True):
        _paint_ahead(chart, x, (low, max(high, low + 1)), f"ahead-{tone}", half_blocks=view.half_blocks)
        _draw_line(chart, x, centre, tone)
        if x == last:
            y = max(0, min(axis.rows - 1, axis.rows - 1 - centre // EIGHTHS))
            ground = _plain_ground(chart[y], x)
            chart[y].paint(x, wording.SHAPES[side], f"{tone} on {ground} bold" if ground else f"{tone} bold")


def _paint_ahead(
    chart: list[Cells], x: int, likely: tuple[int, int], tone: Tone, *, half_blocks: bool
) -> None:
    """The likely range of one column, to the eighth of a cell; what lies under its edges stays."""
    low, high = likely
    lowest = len(chart) - 1
    for y in range(max(0, lowest - (high - 1) // EIGHTHS), min(lowest, lowest - low // EIGHTHS) + 1):
        row, floor = chart[y], (lowest - y) * EIGHTHS
        bottom, top = max(0, low - floor), min(EIGHTHS, high - floor)
        if not half_blocks:
            row.paint(x, PLAIN_AHEAD, tone)
            continue
        ground = "band" if row[x][1].endswith("on band") else "paper"
        if bottom == 0 and top == EIGHTHS:
            row.paint(x, " ", f"plain on {tone}")
            continue
        char, is_inverse = part_of_cell(bottom, top)
        row.paint(x, char, f"{ground} on {tone}" if is_inverse else f"{tone} on {ground}")
