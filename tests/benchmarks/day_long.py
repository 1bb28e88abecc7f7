"""A day of programme through a whole run, as fast as it goes: what an update costs, what memory grows, and
whether integrated loudness is still that of the whole.

The source is one channel at 48 kHz; everything behind it is what a live run has: meter, advice, history,
alerts, record. Time is processor time, so that other programs on the machine count less.

Run: python tests/benchmarks/day_long.py [HOURS]
"""

import gc
import resource
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy import signal

sys.path.insert(0, str(Path(__file__).parents[1] / "standards"))

from whole_file import K_WEIGHTING_48_KHZ, lufs, power_mean

from sidecar.journal.writer import Journal
from sidecar.run.options import RunOptions
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.sources import Block

RATE_HZ = 48_000
STEP = RATE_HZ // 10
MINUTE_S, LOOK_S, HOUR_S = 60.0, 600.0, 3600.0
COST, GROWTH_MIB, WRONG_LU = 1.2, 20.0, 0.001


class Programme:
    """Noise whose level wanders over 30 LU and more, and changes with each 100 ms block."""

    title = "a day"
    rate_hz = RATE_HZ
    channels = 1

    def __init__(self, hours):
        self.duration_s = hours * HOUR_S
        rng = np.random.default_rng(24)
        count = round(self.duration_s * 10)
        turns = np.arange(0, count + 300, 300)
        level = np.interp(np.arange(count), turns, rng.normal(-24.0, 6.0, turns.size))
        self._gain = (10.0 ** ((level + rng.normal(0.0, 2.0, count)) / 20.0)).astype(np.float32)
        self._noise = rng.standard_normal((64, STEP, 1)).astype(np.float32)

    def blocks(self):
        for block in range(self._gain.size):
            yield Block(self.frames(block))

    def frames(self, block):
        return self._noise[block % 64] * self._gain[block]

    def close(self):
        """Nothing is open."""

    def integrated(self):
        """Of the whole (BS.1770-5 Annex 1, equations 3 to 7), filtered by scipy."""
        state = np.zeros((2, 2))
        energy = np.empty(self._gain.size)
        for first in range(0, energy.size, 600):
            piece = range(first, min(first + 600, energy.size))
            audio = np.concatenate([self.frames(block)[:, 0] for block in piece]).astype(np.float64)
            weighted, state = signal.sosfilt(K_WEIGHTING_48_KHZ, audio, zi=state)
            energy[piece.start : piece.stop] = (weighted**2).reshape(-1, STEP).mean(axis=1)
        gating = lufs(np.convolve(energy, np.full(4, 0.25), "valid"))
        audible = gating[gating > -70.0]
        return power_mean(audible[audible > power_mean(audible) - 10.0])


class Looks:
    """Takes the time and the memory now and then; an outlet of the run."""

    def __init__(self):
        self.taken = []
        self._due_s = MINUTE_S

    def __call__(self, snapshot):
        seconds = snapshot.reading.seconds
        if seconds < self._due_s:
            return
        self.taken.append((seconds, time.process_time(), resident_mib(), highest_mib()))
        self._due_s += MINUTE_S if seconds < LOOK_S else LOOK_S


def resident_mib():
    gc.collect()
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 2**20


def highest_mib():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main():
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    programme, looks = Programme(hours), Looks()
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal.open(Path(folder) / "passes.sqlite")
        options = RunOptions(load_goal("r128"), fast=True, duration_s=programme.duration_s, journal=journal)
        session = Session(programme, options, outlets=[looks])
        session.run()
        ended = highest_mib()
        journal.close()
    costs = [
        (after[0], 100.0 * (after[1] - before[1]) / (after[0] - before[0]), *after[2:])
        for before, after in pairwise(looks.taken)
    ]
    for seconds, cost_ms, mib, highest in costs:
        if seconds <= LOOK_S or seconds % HOUR_S < LOOK_S:
            print(
                f"{seconds / HOUR_S:6.2f} h: {cost_ms:.3f} ms an update, {mib:.1f} MiB, {highest:.1f} at most"
            )
    first, last = costs[0], costs[-1]
    hour = next((look for look in costs if look[0] >= HOUR_S), last)
    wrong = abs(session.snapshot().reading.integrated - programme.integrated())
    print(f"an update at the end: {last[1] / first[1]:.2f} times one of the first minutes (at most {COST})")
    print(f"memory after the first hour: +{last[2] - hour[2]:.1f} MiB (at most {GROWTH_MIB:.0f})")
    print(f"the same at its highest: +{last[3] - hour[3]:.1f} MiB, +{ended - hour[3]:.1f} with the last word")
    print(f"integrated: {wrong:.6f} LU from that of the whole (at most {WRONG_LU})")


if __name__ == "__main__":
    main()
