"""The programme's history: short-term over time, and the forecast ahead of now."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from sidecar.model.headline import chosen
from tui.drawing import wording
from tui.drawing.axis import Axis, Reach, reach_for
from tui.drawing.cells import Cells, Row
from tui.drawing.columns import Columns, Reducer, Window, around, window
from tui.drawing.panels.chart import draw_chart
from tui.drawing.panels.cursor import draw_cursor, reading_row
from tui.drawing.panels.events import events_row
from tui.drawing.panels.rides import rides_row
from tui.drawing.view import View

GUTTER = 7
"""Cells of the axis to the left."""

_TICK_CELLS = 14
"""Cells that two ticks of the time lie apart at least, so that their labels stay apart."""
_TICKS_S = (
    *(1.0, 2.0, 5.0, 10.0, 15.0, 30.0),
    *(60.0, 120.0, 300.0, 600.0, 900.0, 1800.0),
    *(3600.0, 7200.0, 14_400.0, 21_600.0),
)
_HAIR_S = 0.05
"""Ends of a programme are exact to less."""
_STEP = 2
"""Samples between two drawings: a column of the shortest stretch shown takes longer."""
_LOWEST_SHARE = 5.0
"""Per cent of the columns that may lie under the axis: a pause in speech must not flatten all else."""


class HistoryDrawing:
    """Draws the history; caches the finished columns, and their place, between two drawings."""

    def __init__(self) -> None:
        self._reducer = Reducer()
        self.shown: Window | None = None
        """The stretch that was drawn last."""
        self._reach = Reach()
        self._scale = (0.0, 0.0, 0.0)
        self._samples = 0
        self._key: tuple[object, ...] = ()
        self._rows: list[Row] = []

    def rows(self, view: View, width: int, height: int) -> list[Row]:
        """*height* rows: events, rides if any, the chart, the time.

        With fewer than four only the chart, and with a cursor what was read there. They are drawn anew six
        times a second at most, and at once where something else than time has changed.
        """
        key = (width, height, *_look(view))
        if key != self._key:
            self._key, self._rows = key, self._drawn(view, width, height)
        return self._rows

    def _drawn(self, view: View, width: int, height: int) -> list[Row]:
        shown = self._window(view, max(1, width - GUTTER))
        above = self._marks(view, shown, width) if height >= 4 else []
        if height == 4:
            above = above[:1]
        has_foot = height >= 4 or (height > 1 and view.cursor_s is not None)
        columns = self._reducer.columns(view.history, shown)
        axis = Axis(height - len(above) - has_foot, self._reach_of(view, shown, columns))
        chart = draw_chart(view, shown, columns, axis)
        if view.cursor_s is not None:
            draw_cursor(chart, shown.column(view.cursor_s))
        drawn = _with_gutter(view, axis, chart, width)
        return [*above, *drawn, *([_time_row(view, shown, width)] if has_foot else [])]

    def _reach_of(self, view: View, shown: Window, columns: Columns) -> Reach:
        """The reach that shows these columns; while the same stretch is looked at it only grows, so that the
        picture does not jump."""
        wanted = _reach(view, columns)
        scale = (shown.width_s, view.reach_lu, view.snapshot.goal.target_lufs)
        grows = scale == self._scale and len(view.history.seconds) >= self._samples
        self._reach = self._reach.joined(wanted) if grows else wanted
        self._scale, self._samples = scale, len(view.history.seconds)
        return self._reach

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
        top.put_row(GUTTER, events_row(view.history.events, shown, letters=not view.half_blocks))
        rides = rides_row(view.snapshot.rides, shown)
        return [top.row(), *([((f"{' rides':<{GUTTER}}", "faint"), *rides)] if rides else [])]


def _look(view: View) -> tuple[object, ...]:
    """All that the rows are made of, time in steps."""
    snapshot, history = view.snapshot, view.history
    step = 1 if snapshot.transport == "ended" else _STEP
    return (
        *(view.relative, view.reach_lu, view.zoom_s, view.cursor_s, view.half_blocks),
        *(snapshot.goal, snapshot.duration_s, snapshot.rides, chosen(snapshot)),
        *(len(history.events), history.events[-1:], history.seconds[:1].tolist()),
        *(int(snapshot.reading.seconds), len(history.seconds) // step),
    )


def _reach(view: View, columns: Columns) -> Reach:
    """The reach that shows all but the softest columns, and the landing."""
    target, move = view.snapshot.goal.target_lufs, chosen(view.snapshot).move
    levels = columns.low[np.isfinite(columns.low)]
    highest = np.concatenate((columns.high[np.isfinite(columns.high)], [target]))
    lowest = float(np.percentile(levels, _LOWEST_SHARE)) if len(levels) else target
    ends = [end for end in (move.landing_low, move.landing_high) if math.isfinite(end)]
    return reach_for(
        max([float(highest.max()), *ends]) - target, min([lowest, *ends]) - target, view.reach_lu
    )


def _with_gutter(view: View, axis: Axis, chart: list[Cells], width: int) -> list[Row]:
    """The levels of the goal, of both ends and of graduations beside their rows of the chart."""
    goal = view.snapshot.goal
    zero, write = (0.0, wording.signed) if view.relative else (goal.target_lufs, wording.plain)
    rows = [Cells(width) for _ in chart]
    for y, offset in axis.labels():
        tone = "dim" if offset == 0.0 else "faint"
        rows[y].put(0, f"{write(zero + offset):>{GUTTER - 1}}", tone)
    for cells, drawn in zip(rows, chart, strict=True):
        cells.put_cells(GUTTER, drawn)
    return [cells.row() for cells in rows]


def _zoom(view: View, shown: Window) -> str:
    zoom_s = view.zoom_s
    if zoom_s is None or zoom_s > shown.width_s * shown.count + shown.width_s:
        return "whole"
    return f"{zoom_s:g} s" if zoom_s < 60.0 else f"{zoom_s / 60.0:g} min"


def _time_row(view: View, shown: Window, width: int) -> Row:
    """The zoom and, under the chart, ticks of programme time, its end and now; with a cursor what was read
    there."""
    cells = Cells(width, tone="faint")
    cells.put(1, _zoom(view, shown), "faint")
    if view.cursor_s is not None:
        cells.put_row(GUTTER, reading_row(view, shown, width - GUTTER))
        return cells.row()
    now_s = view.snapshot.reading.seconds
    now = f"▴{wording.clock(now_s)}"
    x = min(GUTTER + max(0, shown.column(now_s)), width - len(now))
    taken = [range(x - 1, x + len(now) + 1)]
    end = wording.clock(shown.end_s + _HAIR_S)  # whole seconds, as in the heading
    ends = [(width - len(end), end), *_ticks(shown)]
    for place, text in ends:
        room = range(place - 1, place + len(text) + 1)
        if place + len(text) <= width and all(
            room.stop <= other.start or room.start >= other.stop for other in taken
        ):
            taken.append(room)
            cells.put(place, text, "faint")
    cells.put(x, now, "plain")
    return cells.row()


def _ticks(shown: Window) -> Iterator[tuple[int, str]]:
    """Cells of the time row with the mark and the time of each tick."""
    span_s = shown.width_s * shown.count
    step_s = next((s for s in _TICKS_S if s >= shown.width_s * _TICK_CELLS), math.inf)
    if not math.isfinite(step_s):
        step_s = math.ceil(shown.width_s * _TICK_CELLS / 86_400.0) * 86_400.0
    first = math.ceil(shown.start_s / step_s - 1e-9)
    for place in range(first, int((shown.start_s + span_s) / step_s) + 1):
        yield GUTTER + max(0, shown.column(place * step_s)), f"╵{wording.clock(place * step_s)}"
