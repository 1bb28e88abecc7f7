"""Where the programme went over: the stretches in which short-term passed its limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sidecar.model.readings import BLOCK_S
from sidecar.model.snapshot import Timeline
from sidecar.settings.goals import Goal


@dataclass(frozen=True, slots=True)
class Over:
    """One stretch over the limit. Times are those of short-term's 3 s window's end, as a meter shows it."""

    start_s: float
    end_s: float
    highest_lufs: float


def short_term_line(goal: Goal) -> float:
    """LUFS above which short-term is over: the hot line, or the document's own limit if lower."""
    limit = math.inf if goal.max_short_term_lufs is None else goal.max_short_term_lufs
    return min(goal.hot_lufs, limit)


def overs(history: Timeline, goal: Goal) -> tuple[Over, ...]:
    """Every stretch of *history* over the goal's short-term line, in the order of the programme."""
    is_over = np.concatenate(([False], history.short_term > short_term_line(goal), [False]))
    edges = np.flatnonzero(np.diff(is_over))
    return tuple(
        Over(
            _edge_s(float(history.seconds[first]) - BLOCK_S),
            _edge_s(float(history.seconds[stop - 1])),
            float(history.short_term[first:stop].max()),
        )
        for first, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    )


def _edge_s(seconds: float) -> float:
    """The history's times are float32: written as minutes and seconds, 4.9999999 s would be 4."""
    return round(seconds / BLOCK_S) * BLOCK_S


def places_s(history: Timeline, goal: Goal) -> list[float]:
    """The moments that are worth going to: every event, and where each stretch over begins."""
    starts = (over.start_s + BLOCK_S for over in overs(history, goal))
    return sorted({*(event.seconds for event in history.events), *starts})
