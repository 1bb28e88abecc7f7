"""Measuring a finished file from its first frame to its last."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.facts import Facts
from sidecar.delivery.gathering import FactsKeeper
from sidecar.meter import Blocks, Meter
from sidecar.meter.front import Front
from sidecar.sources.file import FileSource
from sidecar.vocabulary import BLOCK_S, SILENCE, Reading

_BLOCK_FRAMES = 65_536


@dataclass(frozen=True, slots=True, eq=False)
class BlockCourse:
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
    course: BlockCourse = field(repr=False, compare=False)

    @property
    def peak_to_loudness_lu(self) -> float:
        """Maximum true peak over integrated loudness, LU; ``-inf`` where there is no programme."""
        if self.reading.integrated == SILENCE:
            return SILENCE
        return self.reading.max_true_peak - self.reading.integrated


def measure(
    path: Path, layout: str | None = None, progress: Callable[[float], None] = lambda _share: None
) -> Measured:
    """Measures one file.

    layout: as the meter takes it; None is the usual one for the file's channels.
    progress: told the share done, 0 to 1, now and then.
    Raises SourceError for a file that cannot be read, SignalError for one that cannot be measured.
    """
    source = FileSource(path, pace="fast", block_frames=_BLOCK_FRAMES)
    taken: list[Blocks] = []
    try:
        meter = Meter(source.rate_hz, layout, channels=source.channels)
        front = Front(source.rate_hz, meter.layout)
        keeper = FactsKeeper(source.channels, source.full_scale)
        frames = 0
        expected = (source.duration_s or 0.0) * source.rate_hz
        for block in source.blocks():
            hops = front.push(block.frames)
            meter.take_in(front, hops)
            keeper.push(hops.samples)
            taken.append(meter.take_blocks())
            frames += block.frames.shape[0]
            progress(min(1.0, frames / max(1.0, expected)))
    finally:
        source.close()
    meter.finish()
    reading, course = meter.reading(), _course(taken)
    return Measured(
        str(path),
        source.rate_hz,
        source.channels,
        meter.layout.name,
        reading,
        keeper.facts(source.container, source.encoding, source.rate_hz),
        meter.max_momentary_at_s,
        meter.max_short_term_at_s,
        _highest_at_s(course.true_peak, reading.max_true_peak),
        course,
    )


def _course(taken: list[Blocks]) -> BlockCourse:
    def whole(name: str) -> NDArray[np.float64]:
        return np.concatenate([getattr(blocks, name) for blocks in taken])

    return BlockCourse(
        whole("energy"),
        whole("momentary").astype(np.float32),
        whole("short_term").astype(np.float32),
        whole("true_peaks").astype(np.float32),
    )


def _highest_at_s(true_peak: NDArray[np.float32], highest: float) -> float | None:
    """Where the block of the highest true peak begins; it may be the unfinished one at the end."""
    if highest == SILENCE:
        return None
    blocks = np.append(true_peak.max(axis=1), np.float32(highest))
    return int(blocks.argmax()) * BLOCK_S
