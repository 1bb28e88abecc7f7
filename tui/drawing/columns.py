"""The history of a programme reduced to one column a cell.

Columns lie on a fixed grid of programme time: what is finished never changes its shape while the
window moves, so the picture stays and only the newest column is reckoned again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.model.readings import BLOCK_S
from sidecar.model.snapshot import Timeline

_LADDER_S = (60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0)
"""Lengths that the whole programme is drawn against while its own is unknown; then whole hours."""

_HAIR_S = 0.02
"""History times are float32: after a day they are exact to 0.008 s, and columns lie 0.1 s apart."""

AHEAD = 0.2
"""Share of a zoomed window that is kept for what is still to come."""


@dataclass(frozen=True, slots=True)
class Window:
    """The stretch of programme that is shown: *count* columns of *width_s* seconds from *first* on."""

    first: int
    count: int
    width_s: float

    @property
    def start_s(self) -> float:
        return self.first * self.width_s

    @property
    def end_s(self) -> float:
        return (self.first + self.count) * self.width_s

    def time_s(self, x: int) -> float:
        """The end of the column *x*, the moment that it represents."""
        return (self.first + x + 1) * self.width_s

    def column(self, seconds: float) -> int:
        """The column of a moment, counted from the left edge; outside it is negative or ≥ count.

        A sample represents the stretch that ends with it, so a grid line belongs to its left.
        """
        return math.ceil((seconds - _HAIR_S) / self.width_s) - 1 - self.first


def window(now_s: float, duration_s: float | None, zoom_s: float | None, cells: int) -> Window:
    """The window of *cells* columns at *now_s*; *zoom_s* None shows the whole programme."""
    cells = max(1, cells)
    whole_s = max(programme_s(now_s, duration_s), BLOCK_S * cells)
    if zoom_s is None or zoom_s >= whole_s:
        return Window(0, cells, whole_s / cells)
    width_s = max(BLOCK_S, zoom_s / cells)
    ahead = round(cells * AHEAD) if duration_s is not None and duration_s > now_s else 0
    last = math.ceil((now_s - _HAIR_S) / width_s) - 1 + ahead
    return Window(max(0, last + 1 - cells), cells, width_s)


def programme_s(now_s: float, duration_s: float | None) -> float:
    """The length that the whole programme is drawn against."""
    return max(duration_s or _rung(now_s), now_s)


EDGE = 0.1
"""Share of a window that is kept between the cursor and either end, so that what lies ahead is seen."""


def around(live: Window, before: Window | None, at_s: float) -> Window:
    """The window that shows *at_s*: where *before* was if it can, else moved by no more than needed.

    It has the columns of *live*, the window at now, and never lies behind it.
    """
    is_alike = before is not None and (before.width_s, before.count) == (live.width_s, live.count)
    start = before if before is not None and is_alike else live
    edge = round(start.count * EDGE)
    x = start.column(at_s)
    shift = min(0, x - edge) + max(0, x - (start.count - 1 - edge))
    return Window(max(0, min(live.first, start.first + shift)), live.count, live.width_s)


def _rung(now_s: float) -> float:
    for rung in _LADDER_S:
        if now_s <= rung:
            return rung
    return math.ceil(now_s / 3600.0) * 3600.0


@dataclass(frozen=True, slots=True)
class Columns:
    """Lowest and highest short-term and the last integrated of each column; NaN where nothing is."""

    low: NDArray[np.float32]
    high: NDArray[np.float32]
    integrated: NDArray[np.float32]


class Reducer:
    """Reduces a growing history; finished columns are kept, so the cost does not grow with length."""

    def __init__(self) -> None:
        self._width_s = 0.0
        self._first = 0
        self._kept = np.empty((3, 0), np.float32)
        self._print: tuple[int, float, float] | None = None

    def columns(self, history: Timeline, shown: Window) -> Columns:
        """The columns of *shown*."""
        if not self._continues(history, shown):
            self._first, self._kept = shown.first, np.empty((3, 0), np.float32)
        self._width_s = shown.width_s
        known = self._first + self._kept.shape[1]
        fresh = _reduce(history, known, shown.first + shown.count - known, shown.width_s)
        every = np.concatenate((self._kept, fresh), axis=1)[:, shown.first - self._first :]
        self._keep(history, shown, every)
        low, high, integrated = every
        return Columns(low, high, integrated)

    def _continues(self, history: Timeline, shown: Window) -> bool:
        """True if what was kept is still the start of this history (a reset begins another)."""
        known = self._first + self._kept.shape[1]
        if self._print is None or shown.width_s != self._width_s or not self._first <= shown.first <= known:
            return False
        index, seconds, level = self._print
        if index >= len(history.seconds):
            return False
        return seconds == float(history.seconds[index]) and level == float(history.short_term[index])

    def _keep(self, history: Timeline, shown: Window, every: NDArray[np.float32]) -> None:
        """Keep the finished columns and how their end looked."""
        end_s = float(history.seconds[-1]) if len(history.seconds) else 0.0
        finished = min(shown.count, max(0, shown.column(end_s)))
        self._first, self._kept = shown.first, every[:, :finished]
        edge = (shown.first + finished) * shown.width_s
        index = _samples_until(history, edge) - 1
        self._print = (
            (index, float(history.seconds[index]), float(history.short_term[index])) if index >= 0 else None
        )


def _samples_until(history: Timeline, seconds: float) -> int:
    """How many samples end at *seconds* or before."""
    return int(np.searchsorted(history.seconds, np.float32(seconds + _HAIR_S), side="right"))


def columns_with_dialogue(history: Timeline, shown: Window) -> list[int]:
    """The columns of *shown* at least half of which has dialogue."""
    known = min(len(history.dialogue), len(history.seconds))
    if not known:
        return []
    edges = (shown.first + np.arange(shown.count + 1)) * shown.width_s
    bounds = np.searchsorted(history.seconds[:known], (edges + _HAIR_S).astype(np.float32), side="right")
    sums = np.concatenate(([0], np.cumsum(history.dialogue[:known])))
    samples, spoken = np.diff(bounds), np.diff(sums[bounds])
    return np.flatnonzero((samples > 0) & (2 * spoken >= samples)).tolist()


def _reduce(history: Timeline, first: int, count: int, width_s: float) -> NDArray[np.float32]:
    """Rows low, high, integrated for *count* columns from *first* on."""
    reduced = np.full((3, max(0, count)), np.nan, np.float32)
    edges = (first + np.arange(reduced.shape[1] + 1)) * width_s
    bounds = np.searchsorted(history.seconds, (edges + _HAIR_S).astype(np.float32), side="right")
    filled = np.flatnonzero(np.diff(bounds))
    if not len(filled):
        return reduced
    starts, end = bounds[filled], bounds[filled[-1] + 1]
    levels = history.short_term[:end]
    reduced[0, filled] = np.minimum.reduceat(levels, starts)
    reduced[1, filled] = np.maximum.reduceat(levels, starts)
    reduced[2, filled] = history.integrated[bounds[filled + 1] - 1]
    return reduced
