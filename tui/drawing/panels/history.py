"""The programme's history: short-term over time, and the forecast ahead of now."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sidecar.model.headline import chosen
from sidecar.model.readings import Move
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone
from tui.drawing.columns import Columns, Reducer, Window, around, window
from tui.drawing.panels.advice import landing_stand
from tui.drawing.panels.cursor import draw_cursor, reading_row
from tui.drawing.panels.events import events_row, guide_columns
from tui.drawing.panels.overs import short_term_line
from tui.drawing.panels.rides import rides_row
from tui.drawing.view import View

GUTTER = 7
"""Cells of the axis to the left."""

_EIGHTHS = " ▁▂▃▄▅▆▇█"
_BELOW_SHARE = 2.0 / 3.0
"""Of the scales' reach: −12 … +6 LU keeps a programme's usual history large, −24 … +12 LU the rest."""

_LINES = "▁▁▁──▔▔▔"
"""A level line inside a cell, by eighths from its floor."""


@dataclass(frozen=True)
class Axis:
    """A fixed axis whose goal lies between two rows: it shows *below_lu* and half as much above.

    Rounding to whole rows shows somewhat more.
    """

    rows: int
    below_lu: float

    @property
    def above(self) -> int:
        """Rows above the goal."""
        return self.rows // 3

    @cached_property
    def lu_per_row(self) -> float:
        above = self.below_lu / 2.0 / self.above if self.above else 0.0
        return max(self.below_lu / (self.rows - self.above), above)

    def eighths(self, offset_lu: float) -> int:
        """Height of an offset from the goal, in eighths of a row above the floor."""
        if not math.isfinite(offset_lu):
            return 0
        height = (self.rows - self.above) * 8 + round(offset_lu / self.lu_per_row * 8)
        return max(0, min(self.rows * 8, height))


class HistoryDrawing:
    """Draws the history; caches the finished columns, and their place, between two drawings."""

    def __init__(self) -> None:
        self._reducer = Reducer()
        self.shown: Window | None = None
        """The stretch that was drawn last."""

    def rows(self, view: View, width: int, height: int) -> list[Row]:
        """*height* rows: events, rides if any, the chart, the time.

        With fewer than four only the chart, and with a cursor what was read there.
        """
        shown = self._window(view, max(1, width - GUTTER))
        above = self._marks(view, shown, width) if height >= 4 else []
        if height == 4:
            above = above[:1]
        has_foot = height >= 4 or (height > 1 and view.cursor_s is not None)
        chart_rows = height - len(above) - has_foot
        chart = _chart(view, shown, self._reducer.columns(view.history, shown), chart_rows)
        if view.cursor_s is not None:
            draw_cursor(chart, shown.column(view.cursor_s))
        axis = _axis(view, chart_rows)
        drawn = [_with_gutter(view, axis, row, y, width) for y, row in enumerate(chart)]
        return [*above, *drawn, *([_time_row(view, shown, width)] if has_foot else [])]

    def _window(self, view: View, cells: int) -> Window:
        """What is shown: at now, or about the cursor."""
        snapshot = view.snapshot
        shown = window(snapshot.reading.seconds, snapshot.duration_s, view.zoom_s, cells)
        if view.cursor_s is not None:
            shown = around(shown, self.shown, view.cursor_s)
        self.shown = shown
        return shown

    def _marks(self, view: View, shown: Window, width: int) -> list[Row]:
        """What happened, and the rides if any are in sight."""
        top = Cells(width)
        top.put(1, wording.unit(view.snapshot.goal, relative=view.relative), "faint")
        top.put_row(GUTTER, events_row(view.history.events, shown))
        rides = rides_row(view.snapshot.rides, shown)
        return [top.row(), *([((f"{' rides':<{GUTTER}}", "faint"), *rides)] if rides else [])]


def _axis(view: View, rows: int) -> Axis:
    return Axis(rows, view.reach_lu * _BELOW_SHARE)


def _with_gutter(view: View, axis: Axis, drawn: Cells, y: int, width: int) -> Row:
    """The axis beside a row of the chart: its ends and the goal are labelled."""
    goal = view.snapshot.goal
    zero = 0.0 if view.relative else goal.target_lufs
    write = wording.signed if view.relative else wording.plain
    cells = Cells(width)
    below = axis.rows - axis.above
    if y == axis.above:
        cells.put(0, f"{write(zero):>{GUTTER - 1}}", "dim")
    elif y == 0:
        cells.put(0, f"{write(zero + axis.above * axis.lu_per_row):>{GUTTER - 1}}", "faint")
    elif y == axis.rows - 1:
        cells.put(0, f"{write(zero - below * axis.lu_per_row):>{GUTTER - 1}}", "faint")
    cells.put_row(GUTTER, drawn.row())
    return cells.row()


def _chart(view: View, shown: Window, columns: Columns, rows: int) -> list[Cells]:
    goal = view.snapshot.goal
    axis = _axis(view, rows)
    chart = [_ground(view, axis, y, shown.count) for y in range(rows)]
    for x in guide_columns(view.history.events, shown):
        for row in chart:
            if row[x][0] == " ":
                row.put(x, "┊", "faint")
    over_lufs = short_term_line(goal)
    for x in np.flatnonzero(np.isfinite(columns.high)).tolist():
        low = axis.eighths(float(columns.low[x]) - goal.target_lufs)
        high = axis.eighths(float(columns.high[x]) - goal.target_lufs)
        over = axis.eighths(over_lufs - goal.target_lufs) if columns.high[x] > over_lufs else rows * 8
        _fill(chart, x, (low, high), over)
    for x in np.flatnonzero(np.isfinite(columns.integrated)).tolist():
        _line(chart, x, axis.eighths(float(columns.integrated[x]) - goal.target_lufs), "strong")
    _forecast(view, axis, shown, chart)
    return chart


def _ground(view: View, axis: Axis, y: int, width: int) -> Cells:
    """An empty row of the chart with the goal's band where it crosses."""
    goal = view.snapshot.goal
    goal_height = axis.eighths(0.0)
    floor = (axis.rows - 1 - y) * 8
    top = max(goal_height + 1, axis.eighths(goal.tolerance_above_lu)) - floor
    bottom = min(goal_height - 1, axis.eighths(-min(goal.tolerance_below_lu, axis.below_lu))) - floor
    if top <= 0 or bottom >= 8:
        return Cells(width)
    if bottom > 0:
        return Cells(width, _EIGHTHS[bottom], "paper on band")
    if top >= 8:
        return Cells(width, " ", "plain on band")
    return Cells(width, _EIGHTHS[top], "band")


def _fill(chart: list[Cells], x: int, span: tuple[int, int], over: int) -> None:
    """One column: solid up to the lowest short-term in it, softer from there to the highest.

    Cells that reach above *over*, in eighths, are drawn as over.
    """
    low, high = span
    for y, row in enumerate(chart):
        floor = (len(chart) - 1 - y) * 8
        if high <= floor:
            continue
        solid, soft = ("over", "over") if floor + 8 > over else ("fill", "soft")
        if high < floor + 8:
            ground = " on band" if row[x][1].endswith("on band") else ""
            row.put(x, _EIGHTHS[high - floor], (solid if low >= high else soft) + ground)
        elif low >= floor + 8:
            row.put(x, "█", solid)
        else:
            row.put(x, _EIGHTHS[max(0, low - floor)], f"{solid} on {soft}")


def _line(chart: list[Cells], x: int, height: int, tone: Tone) -> None:
    """A level line through one cell; it keeps the ground that it crosses."""
    if not 0 < height < len(chart) * 8:
        return
    row = chart[len(chart) - 1 - height // 8]
    char, under = row[x]
    ground = under.split(" on ")[-1] if " on " in under else under
    is_filled = char == "█" or " on " in under
    row.put(x, _LINES[height % 8], f"{tone} on {ground}" if is_filled else tone)


def _forecast(view: View, axis: Axis, shown: Window, chart: list[Cells]) -> None:
    """The wedge from the integrated loudness now to the landing at the end of the programme."""
    snapshot = view.snapshot
    call, duration_s, now_s = chosen(snapshot), snapshot.duration_s, snapshot.reading.seconds
    if call.scope != "this pass" or duration_s is None or not now_s < duration_s:
        return
    move = call.move
    if not math.isfinite(move.landing):
        return
    target = snapshot.goal.target_lufs
    tone = landing_stand(snapshot.goal, move)
    start = snapshot.reading.integrated if math.isfinite(snapshot.reading.integrated) else move.landing
    first, last = shown.column(now_s) + 1, shown.column(duration_s)
    for x in range(max(0, first), min(shown.count, last + 1)):
        share = min(1.0, ((shown.first + x + 1) * shown.width_s - now_s) / (duration_s - now_s))
        low, centre, high = (
            axis.eighths(start + (end - start) * share - target)
            for end in (
                _or_landing(move, move.landing_low),
                move.landing,
                _or_landing(move, move.landing_high),
            )
        )
        _wedge(chart, x, (low, high), tone)
        _line(chart, x, centre, tone)
        if x == last:
            chart[_row_of(chart, centre)].put(x, wording.SHAPES[tone], f"{tone} bold")


def _or_landing(move: Move, bound: float) -> float:
    return bound if math.isfinite(bound) else move.landing


def _row_of(chart: list[Cells], height: int) -> int:
    return max(0, min(len(chart) - 1, len(chart) - 1 - height // 8))


def _wedge(chart: list[Cells], x: int, band: tuple[int, int], tone: Tone) -> None:
    low, high = band
    for y in range(_row_of(chart, high), _row_of(chart, low) + 1):
        chart[y].put(x, "░", tone)


def _zoom(zoom_s: float | None) -> str:
    if zoom_s is None:
        return "whole"
    return f"{zoom_s:g} s" if zoom_s < 60.0 else f"{zoom_s / 60.0:g} min"


def _time_row(view: View, shown: Window, width: int) -> Row:
    """The zoom and, under the chart, its start, now and its end; with a cursor what was read there."""
    cells = Cells(width, tone="faint")
    cells.put(1, _zoom(view.zoom_s), "faint")
    if view.cursor_s is not None:
        cells.put_row(GUTTER, reading_row(view, shown, width - GUTTER))
        return cells.row()
    start, end = wording.clock(shown.start_s), wording.clock(round(shown.end_s))
    now_s = view.snapshot.reading.seconds
    now = f"▴{wording.clock(now_s)}"
    x = GUTTER + max(0, shown.column(now_s))
    x = min(x, width - len(now))
    if x > GUTTER + len(start):
        cells.put(GUTTER, start, "faint")
    if x + len(now) < width - len(end):
        cells.put(width - len(end), end, "faint")
    cells.put(x, now, "plain")
    return cells.row()
