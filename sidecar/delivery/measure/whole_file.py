"""Measuring a finished file from its first frame to its last."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.facts import Facts
from sidecar.delivery.measure.facts_keeper import FactsKeeper
from sidecar.delivery.measure.stretches import stretches
from sidecar.meter import Blocks, Meter
from sidecar.meter.layouts import channel_names
from sidecar.model.readings import BLOCK_S, SILENCE, Reading
from sidecar.sources.sound_file import SoundFile


@dataclass(frozen=True, slots=True, eq=False)
class BlockSeries:
    """A file in 100 ms blocks; block *k* ends at (k + 1) · 0.1 s. Every array has n rows."""

    energy: NDArray[np.float64]
    """K-weighted, channel-summed mean square, linear."""
    momentary: NDArray[np.float32]
    """LUFS at the end of each block; ``-inf`` in silence."""
    short_term: NDArray[np.float32]
    """LUFS at the end of each block; ``-inf`` in silence."""
    true_peak: NDArray[np.float32]
    """Shape (n, channels): dBTP of each block."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What a file measures. Times are seconds from the file's first frame."""

    file: str
    sample_rate: int
    channels: int
    layout: str
    reading: Reading
    facts: Facts
    max_momentary_at_s: float | None
    """Where the 0.4 s window of the maximum ends; None where all is silent, as with those below."""
    max_short_term_at_s: float | None
    """Where the 3 s window of the maximum ends."""
    max_true_peak_at_s: float | None
    """Where the 100 ms block begins that holds the maximum true peak."""
    course: BlockSeries = field(repr=False, compare=False)

    @property
    def channel_names(self) -> tuple[str, ...]:
        """Positions in the file's order, numbers from 1 where they are not known."""
        return channel_names(self.layout, self.channels)

    @property
    def peak_to_loudness_lu(self) -> float:
        """Maximum true peak over integrated loudness, LU; ``-inf`` where there is no programme."""
        if self.reading.integrated == SILENCE:
            return SILENCE
        return self.reading.max_true_peak - self.reading.integrated


def measure(
    path: Path,
    layout: str | None = None,
    progress: Callable[[float], None] = lambda _share: None,
    *,
    workers: int | None = None,
) -> Measured:
    """Measures one file.

    layout: as the meter takes it; None is the usual one for the file's channels.
    progress: told the share done, 0 to 1, now and then.
    workers: threads that share the work; None is one for each processor. The result does not depend on it.
    Raises SourceError for a file that cannot be read, SignalError for one that cannot be measured.
    """
    courses = []
    with SoundFile(path) as file:
        meter = Meter(file.rate_hz, layout, channels=file.channels)
        keeper = FactsKeeper(0, file.rate_hz, file.full_scale, np.empty((file.channels, 0), np.float32))
        for stretch in stretches(file, meter.layout, workers or os.cpu_count() or 1):
            meter.take_in(stretch.front, stretch.hops)
            keeper.join(stretch.keeper)
            courses.append(_course(meter.take_blocks()))
            progress(min(1.0, keeper.frames / file.frames))
        file.finish()
    meter.finish()
    progress(1.0)
    reading, course = meter.reading(), _joined(courses)
    return Measured(
        str(path),
        file.rate_hz,
        file.channels,
        meter.layout.name,
        reading,
        keeper.facts(file.container, file.encoding),
        meter.max_momentary_at_s,
        meter.max_short_term_at_s,
        _highest_at_s(course.true_peak, reading.max_true_peak),
        course,
    )


def _course(blocks: Blocks) -> BlockSeries:
    return BlockSeries(
        blocks.energy,
        blocks.momentary.astype(np.float32),
        blocks.short_term.astype(np.float32),
        blocks.true_peaks.astype(np.float32),
    )


def _joined(courses: Sequence[BlockSeries]) -> BlockSeries:
    return BlockSeries(
        np.concatenate([course.energy for course in courses]),
        np.concatenate([course.momentary for course in courses]),
        np.concatenate([course.short_term for course in courses]),
        np.concatenate([course.true_peak for course in courses]),
    )


def _highest_at_s(true_peak: NDArray[np.float32], highest: float) -> float | None:
    """Where the block of the highest true peak begins; it may be the unfinished one at the end."""
    if highest == SILENCE:
        return None
    blocks = np.append(true_peak.max(axis=1), np.float32(highest))
    return int(blocks.argmax()) * BLOCK_S
