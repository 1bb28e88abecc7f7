"""A programme that anybody can make again, block by block, and what a meter that was never disturbed
reads of it."""

from dataclasses import dataclass, field

import numpy as np

from sidecar.journal.record import Pass
from sidecar.meter import Meter
from sidecar.model.snapshot import Event
from sidecar.settings.goals import load_goal

RATE_HZ = 48_000
BLOCK_FRAMES = 4_800
LOST_EVERY, LOST_FRAMES = 83, 480
LEVELS = (0.02, 0.05, 0.15, 0.3)

ABOUT = Pass("known signal", RATE_HZ, "stereo", load_goal("r128"))


def frames(block):
    """100 ms of noise, whose level changes every 3.7 s."""
    level = LEVELS[block // 37 % len(LEVELS)]
    noise = np.random.default_rng(block).standard_normal((BLOCK_FRAMES, 2))
    return (level * noise).astype(np.float32)


def is_cut(block):
    """Some samples were dropped before it."""
    return block > 0 and block % LOST_EVERY == 0


@dataclass
class Measuring:
    """A meter on the known signal, with or without a journal that records it."""

    energies: list = field(default_factory=list)
    readings: list = field(default_factory=list)

    def __post_init__(self):
        self.meter = Meter(RATE_HZ, "stereo")

    def go_on(self, blocks, entry=None):
        """Measures so many blocks more."""
        first = len(self.readings)
        for block in range(first, first + blocks):
            if is_cut(block):
                self.meter.splice()
                if entry is not None:
                    entry.add_cut(LOST_FRAMES)
            self.meter.push(frames(block))
            taken, reading = self.meter.take_blocks(), self.meter.reading()
            self.energies.append(float(taken.energy[0]))
            self.readings.append(reading)
            if entry is not None:
                entry.add_blocks(taken.energy, taken.true_peak, taken.short_term, -1.5, reading)
                if block % 10 == 0:
                    entry.event(Event(block / 10, "marker", f"block {block}"))
        return self
