"""Facts gathered from frames in order."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure import fact_kernels
from sidecar.delivery.measure.facts import CLIP_SAMPLES, CLIPS_LISTED, SHORTEST_SILENCE_S, Facts, Silence
from sidecar.delivery.measure.gap_keeper import GapKeeper
from sidecar.meter.interpolation import REACH
from sidecar.model.readings import decibel


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
        at_full_scale = np.abs(before[:, : -CLIP_SAMPLES - 1 : -1]) >= self._full_scale
        self._state.clip_run[:] = np.cumprod(at_full_scale, axis=1).sum(axis=1)

    @property
    def frames(self) -> int:
        """Where in the file the next frame is."""
        return self._frame

    def push(self, planes: NDArray[np.float32]) -> None:
        """Takes in frames, as :func:`~sidecar.meter.planes.fresh_planes` lays them out."""
        silences, *gaps = fact_kernels.gather(
            planes,
            self._frame,
            self._full_scale,
            self._gaps.shortest,
            np.float32(self._gaps.loud),
            self._state,
        )
        for start, stop in silences:
            self._add_run(int(start), int(stop))
        self._gaps.add(*gaps)
        self._frame += planes.shape[1] - REACH

    def join(self, later: FactsKeeper) -> None:
        """Takes in what was gathered from the frames that follow."""
        fact_kernels.join(self._state, later._state)
        self._gaps.join(later._gaps)
        for start, stop in later._runs:
            self._add_run(start, stop)
        self._frame = later._frame

    def facts(self, container: str, encoding: str) -> Facts:
        """What was gathered so far."""
        state, rate_hz = self._state, self._rate_hz
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
        )

    def _add_run(self, start: int, stop: int) -> None:
        if self._runs and self._runs[-1][1] == start:
            self._runs[-1] = (self._runs[-1][0], stop)
        else:
            self._runs.append((start, stop))


def _correlation(products: NDArray[np.float64]) -> float | None:
    left, both, right = (float(p) for p in products)
    if left <= 0.0 or right <= 0.0:
        return None
    return max(-1.0, min(1.0, both / math.sqrt(left * right)))
