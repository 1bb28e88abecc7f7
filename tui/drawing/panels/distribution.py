"""How often each short-term loudness came: what the loudness range is made of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sidecar.model.snapshot import Timeline
from tui.drawing.blocks import LOWER
from tui.drawing.cells import Cells, Row
from tui.drawing.scale import GoalScale

_LOWEST_LUFS, _HIGHEST_LUFS = -70.0, 20.0
"""The absolute gate of the loudness range (EBU Tech 3342 §3.1) and more than any programme has."""
_BINS_PER_LU = 10
_RELATIVE_GATE_LU = -20.0
"""EBU Tech 3342 §3.1: under the power mean of what is above the absolute gate."""
_PERCENTILES = (0.10, 0.95)
"""EBU Tech 3342 §3: the ends of the range."""
_RARE = 0.1
"""Eighths of the highest: what came more seldom, as in a fade, is not drawn."""
_ROWS_EACH = 10
"""Samples, a second of them."""
_LEAST_WIDTH_LU = 0.5
"""A narrower stretch of the scale would show chance, not the programme."""


class Distribution:
    """Counts of a growing history; what was counted is kept, so the cost does not grow with length."""

    def __init__(self) -> None:
        self._counts = np.zeros(round((_HIGHEST_LUFS - _LOWEST_LUFS) * _BINS_PER_LU), np.int64)
        self._print = (0, 0.0, 0.0, 0.0)
        """Samples counted; time of the first; time and level of the last."""
        self._drawn: tuple[object, Row] = (None, ())

    def row(self, history: Timeline, scale: GoalScale, target_lufs: float) -> Row:
        """As :func:`distribution_row`, drawn once a second of programme: earlier there is nothing to see."""
        samples = len(history.seconds)
        start_s = float(history.seconds[0]) if samples else 0.0
        key = (samples // _ROWS_EACH, start_s, scale, target_lufs)
        if key != self._drawn[0]:
            self._drawn = key, distribution_row(scale, self.counts(history), target_lufs)
        return self._drawn[1]

    def counts(self, history: Timeline) -> NDArray[np.int64]:
        """How many 100 ms values lie in each tenth of a LU from −70 LUFS up."""
        known = self._print[0]
        if known and self._print != _print_of(history, known):
            known = 0
            self._counts[:] = 0
        fresh = history.short_term[known:]
        loud = fresh[fresh >= _LOWEST_LUFS]
        bins = ((loud - _LOWEST_LUFS) * _BINS_PER_LU).astype(np.int64)
        self._counts += np.bincount(np.clip(bins, 0, len(self._counts) - 1), minlength=len(self._counts))
        self._print = _print_of(history, len(history.seconds))
        return self._counts


def _print_of(history: Timeline, samples: int) -> tuple[int, float, float, float]:
    if not 0 < samples <= len(history.seconds):
        return 0, 0.0, 0.0, 0.0
    last = samples - 1
    seconds, levels = history.seconds, history.short_term
    return samples, float(seconds[0]), float(seconds[last]), float(levels[last])


def distribution_row(scale: GoalScale, counts: NDArray[np.int64], target_lufs: float) -> Row:
    """The counts through the lens of the scales; what lies in the loudness range is bright, the rest dark."""
    cells = Cells(scale.width, "─", "track")
    cells.put(scale.middle, "┼", "dim")
    if not counts.any():
        return cells.row()
    edges = np.array([scale.offset_lu(x - 0.5) for x in range(scale.width + 1)]) + target_lufs
    middles = (edges[1:] + edges[:-1]) / 2.0
    halves = np.maximum(np.diff(edges), _LEAST_WIDTH_LU) / 2.0
    grid = _LOWEST_LUFS + np.arange(len(counts) + 1) / _BINS_PER_LU
    below = np.concatenate(([0], np.cumsum(counts)))
    density = (np.interp(middles + halves, grid, below) - np.interp(middles - halves, grid, below)) / halves
    if not density.any():
        return cells.row()
    eighths = np.ceil(density / density.max() * 8.0 - _RARE).clip(0).astype(int)
    low, high = range_ends(counts)
    for x in np.flatnonzero(eighths).tolist():
        is_in_range = edges[x + 1] > low and edges[x] < high
        cells.put(x, LOWER[eighths[x]], "fill" if is_in_range else "soft")
    return cells.row()


def range_ends(counts: NDArray[np.int64]) -> tuple[float, float]:
    """LUFS between which the loudness range lies, to the tenth (EBU Tech 3342 §3)."""
    levels = _LOWEST_LUFS + (np.arange(len(counts)) + 0.5) / _BINS_PER_LU
    mean = 10.0 * np.log10(np.sum(counts * 10.0 ** (levels / 10.0)) / counts.sum())
    gated = np.cumsum(np.where(levels >= mean + _RELATIVE_GATE_LU, counts, 0))
    low, high = (levels[np.searchsorted(gated, share * gated[-1])] for share in _PERCENTILES)
    return float(low), float(high)
