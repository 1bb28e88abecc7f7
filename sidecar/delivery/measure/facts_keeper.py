"""Facts gathered from frames in order."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure import fact_kernels
from sidecar.delivery.measure.facts import (
    CLIP_SAMPLES,
    CLIPS_LISTED,
    MOST_HELD,
    QUIET_DBFS,
    SHORTEST_SILENCE_S,
    Facts,
    Held,
    Silence,
)
from sidecar.delivery.measure.gap_keeper import GapKeeper
from sidecar.delivery.measure.held_kernels import find_held
from sidecar.meter.interpolation import REACH
from sidecar.model.units import decibel

_QUIET = np.float32(10.0 ** (QUIET_DBFS / 20.0))


class FactsKeeper:
    """Gathers :class:`~sidecar.delivery.measure.facts.Facts`, in one go or in stretches that are joined."""

    def __init__(
        self, first_frame: int, rate_hz: int, full_scale: float, before: NDArray[np.float32]
    ) -> None:
        """first_frame: where in the file the samples begin that are pushed.
        full_scale: the highest size that the encoding can hold (a little less than 1.0 in integers).
        before: shape (channels, n), what comes before the first frame, or the end of it: a clipped run
        that began there has been counted there.
        """
        self._state = fact_kernels.fresh_facts(before.shape[0])
        self._full_scale = np.float32(full_scale)
        self._frame = first_frame
        self._rate_hz = rate_hz
        self._gaps = GapKeeper(before.shape[0], rate_hz, full_scale)
        self._runs: list[tuple[int, int]] = []
        self._held: list[tuple[int, int]] = []
        self._loud: tuple[int, int] | None = None
        at_full_scale = np.abs(before[:, : -CLIP_SAMPLES - 1 : -1]) >= self._full_scale
        self._state.clip_run[:] = np.cumprod(at_full_scale, axis=1).sum(axis=1)

    @property
    def frames(self) -> int:
        """Where in the file the next frame is."""
        return self._frame

    def add_frames(self, planes: NDArray[np.float32]) -> None:
        """Adds frames, as :func:`~sidecar.meter.planes.fresh_planes` lays them out."""
        silences, places, edges = fact_kernels.gather(
            planes,
            self._frame,
            self._full_scale,
            self._gaps.shortest,
            np.float32(self._gaps.loud),
            self._state,
        )
        for start, stop in silences:
            self._add_run(int(start), int(stop))
        first, last = fact_kernels.loud_ends(planes, self._state.total.size, _QUIET)
        if first >= 0:
            self._add_loud(self._frame + int(first), self._frame + int(last))
        still = find_held(
            planes, self._state.total.size, self._gaps.shortest, np.float32(self._gaps.loud), self._full_scale
        )
        for start, stop in still:
            self._add_held(self._frame + int(start), self._frame + int(stop))
        self._gaps.add(places, edges)
        self._frame += planes.shape[1] - REACH

    def join(self, later: FactsKeeper) -> None:
        """Adds the facts gathered from the frames that follow."""
        fact_kernels.join(self._state, later._state)
        self._gaps.join(later._gaps)
        for start, stop in later._runs:
            self._add_run(start, stop)
        for start, stop in later._held:
            self._add_held(start, stop)
        if later._loud is not None:
            self._add_loud(*later._loud)
        self._frame = later._frame

    def facts(self, container: str, encoding: str) -> Facts:
        """What was gathered so far."""
        state, rate_hz = self._state, self._rate_hz
        first, last = self._loud or (self._frame, -1)
        clips = (at[:count] for at, count in zip(state.clips_at, state.clips, strict=True))
        return Facts(
            container=container,
            encoding=encoding,
            frames=self._frame,
            sample_peak=tuple(decibel(float(peak)) for peak in state.peak),
            dc_offset=tuple(float(total) / max(1, self._frame) for total in state.total),
            identical_channels=state.total.size == 2 and self._frame > 0 and not state.differ[0],
            correlation=_correlation(state.products) if state.total.size == 2 else None,
            silences=tuple(
                Silence(start / rate_hz, (stop - start) / rate_hz)
                for start, stop in self._runs
                if stop - start >= SHORTEST_SILENCE_S * rate_hz
            ),
            clipped_runs=int(state.clips.sum()),
            clips_at_s=tuple(int(at) / rate_hz for at in sorted(np.concatenate([*clips]))[:CLIPS_LISTED]),
            gaps=self._gaps.gaps(self._frame),
            held=tuple(
                Held(start / rate_hz, (stop - start) / rate_hz)
                for start, stop in self._held
                if self._is_long_enough(start, stop)
            )[: MOST_HELD + 1],
            quiet_head_s=first / rate_hz,
            quiet_tail_s=(self._frame - 1 - last) / rate_hz,
        )

    def _add_loud(self, first: int, last: int) -> None:
        self._loud = (first if self._loud is None else self._loud[0]), last

    def _add_run(self, start: int, stop: int) -> None:
        if self._runs and self._runs[-1][1] == start:
            self._runs[-1] = (self._runs[-1][0], stop)
        else:
            self._runs.append((start, stop))

    def _add_held(self, start: int, stop: int) -> None:
        """Keeps what may be long enough; the first may go on in what came before."""
        if self._held and start < self._held[-1][1]:
            self._held[-1] = (self._held[-1][0], stop)
            return
        if len(self._held) > 1 and not self._is_long_enough(*self._held[-1]):
            self._held.pop()
        if len(self._held) <= 2 * MOST_HELD:
            self._held.append((start, stop))

    def _is_long_enough(self, start: int, stop: int) -> bool:
        return stop - start >= self._gaps.shortest


def _correlation(products: NDArray[np.float64]) -> float | None:
    left, both, right = (float(p) for p in products)
    if left <= 0.0 or right <= 0.0:
        return None
    return max(-1.0, min(1.0, both / math.sqrt(left * right)))
