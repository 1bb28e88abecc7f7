"""Signals played to a new meter, as a file and live."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ebu_signals import Frames, live

from sidecar.meter import Meter
from sidecar.model.readings import Reading


def read_file(blocks: Iterable[Frames], rate_hz: int, layout: str = "stereo") -> Reading:
    """What a new meter reads at the end of a file."""
    meter = Meter(sample_rate=rate_hz, layout=layout)
    for block in blocks:
        meter.push(block)
    meter.finish()
    return meter.reading()


def read_live_at_the_end(blocks: Iterable[Frames], rate_hz: int, layout: str = "stereo") -> Reading:
    """What a new meter reads after the last block of a live signal."""
    meter = Meter(sample_rate=rate_hz, layout=layout)
    for block in live(blocks, rate_hz):
        meter.push(block)
    return meter.reading()


def read_live(
    blocks: Iterable[Frames], rate_hz: int, layout: str = "stereo"
) -> Iterator[tuple[float, Reading]]:
    """(seconds so far, reading) of a new meter after every block of a live signal."""
    meter = Meter(sample_rate=rate_hz, layout=layout)
    frames = 0
    for block in live(blocks, rate_hz):
        meter.push(block)
        frames += len(block)
        yield frames / rate_hz, meter.reading()
