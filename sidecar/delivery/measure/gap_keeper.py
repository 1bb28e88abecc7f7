"""Gaps gathered from frames in order: runs of exact zeros with sound right before and right after."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.facts import GAP_EDGE_DBFS, MOST_GAPS, SHORTEST_GAP_S, Gap
from sidecar.delivery.measure.gap_kernels import EDGE
from sidecar.model.units import decibel

_LEAST_STEPS = 4
"""Ours: in few bits a sample of one step is far over silence, and quiet sound is full of zeros."""


class Run(NamedTuple):
    """Zeros of one channel, in frames of the file, and the linear peaks right before and right after."""

    start: int
    stop: int
    before: float
    after: float

    def followed_by(self, later: Run) -> Run:
        """Both as one."""
        return Run(self.start, later.stop, self.before, later.after)


class GapKeeper:
    """Gathers :class:`~sidecar.delivery.measure.facts.Gap`, in one go or in stretches that are joined."""

    shortest: int
    """Frames."""
    loud: float
    """Linear: what the samples on both sides must reach."""

    def __init__(self, channels: int, rate_hz: int, full_scale: float) -> None:
        """full_scale: the highest size that the encoding can hold."""
        self._rate_hz = rate_hz
        self.shortest = max(2, math.ceil(SHORTEST_GAP_S * rate_hz))
        self.loud = max(10.0 ** (GAP_EDGE_DBFS / 20.0), _LEAST_STEPS * (1.0 - full_scale))
        self._runs: tuple[list[Run], ...] = tuple([] for _ in range(channels))

    def add(self, places: NDArray[np.int64], edges: NDArray[np.float32]) -> None:
        """Adds possible gaps: (channel, start, stop), shape (n, 3), and linear peaks, shape (n, 2)."""
        for (channel, start, stop), peaks in zip(places.tolist(), edges.tolist(), strict=True):
            self._add(self._runs[channel], Run(start, stop, *peaks))

    def join(self, later: GapKeeper) -> None:
        """Adds the gaps gathered from the frames that follow."""
        for mine, theirs in zip(self._runs, later._runs, strict=True):
            for run in theirs:
                self._add(mine, run)

    def gaps(self, frames: int) -> tuple[Gap, ...]:
        """The first of them up to :data:`~sidecar.delivery.measure.facts.MOST_GAPS`, in order. frames: of the
        file; what is not followed by sound before its end is no gap."""
        found = [
            (channel, run)
            for channel, runs in enumerate(self._runs)
            for run in runs
            if self._is_gap(run) and run.stop < frames - EDGE
        ]
        return tuple(map(self._gap, self._together(found)))[:MOST_GAPS]

    def _add(self, runs: list[Run], run: Run) -> None:
        if runs and runs[-1].stop == run.start:
            runs[-1] = runs[-1].followed_by(run)
        elif len(runs) > 1 and not self._is_gap(runs[-1]):  # the first may go on in what came before
            runs[-1] = run
        elif len(runs) <= MOST_GAPS:
            runs.append(run)

    def _is_gap(self, run: Run) -> bool:
        return run.stop - run.start >= self.shortest and min(run.before, run.after) >= self.loud

    def _together(self, found: Iterable[tuple[int, Run]]) -> Iterator[list[tuple[int, Run]]]:
        """Runs of several channels that begin and end within the shortest gap of each other are one."""
        open_groups: list[list[tuple[int, Run]]] = []
        for channel, run in sorted(found, key=lambda pair: pair[1].start):
            while open_groups and run.start - open_groups[0][0][1].start > self.shortest:
                yield open_groups.pop(0)
            for group in open_groups:
                if abs(run.stop - group[0][1].stop) <= self.shortest:
                    group.append((channel, run))
                    break
            else:
                open_groups.append([(channel, run)])
        yield from open_groups

    def _gap(self, group: list[tuple[int, Run]]) -> Gap:
        start, stop = min(run.start for _, run in group), max(run.stop for _, run in group)
        return Gap(
            start / self._rate_hz,
            (stop - start) / self._rate_hz,
            tuple(sorted(channel for channel, _ in group)),
            decibel(max(run.before for _, run in group)),
            decibel(max(run.after for _, run in group)),
        )
