"""How many times faster than real time the rehearsal is made, and its slowest 100 ms. Run as a script."""

from __future__ import annotations

import time

import numpy as np

from sidecar.sources.rehearsal import RehearsalSource

if __name__ == "__main__":
    source = RehearsalSource(pace="fast", block_frames=4_800)
    marks_s = [time.process_time()]
    for _ in source.blocks():
        marks_s.append(time.process_time())  # noqa: PERF401  the moments are what is measured
    spent_s = np.diff(marks_s)
    print(f"{len(spent_s) * 0.1 / spent_s.sum():.0f} times real time, processor time of this process")
    print(f"slowest 100 ms of programme: {spent_s.max() * 1000:.0f} ms")
