"""Measuring a finished file from its first frame to its last."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sidecar.meter import Meter
from sidecar.sources.file import FileSource
from sidecar.vocabulary import SILENCE, Reading

_BLOCK_FRAMES = 65_536


@dataclass(frozen=True, slots=True)
class Measured:
    """What a file measures."""

    file: str
    sample_rate: int
    channels: int
    layout: str
    reading: Reading

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
    try:
        meter = Meter(source.rate_hz, layout, channels=source.channels)
        frames = 0
        expected = (source.duration_s or 0.0) * source.rate_hz
        for block in source.blocks():
            meter.push(block.frames)
            frames += block.frames.shape[0]
            progress(min(1.0, frames / max(1.0, expected)))
    finally:
        source.close()
    meter.finish()
    return Measured(str(path), source.rate_hz, source.channels, meter.layout.name, meter.reading())
