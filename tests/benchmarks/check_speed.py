"""How fast a finished file is measured, against only reading it.

Run: python tests/benchmarks/check_speed.py [minutes] [rounds]
In each round reading alone, one worker and two take turns; speeds are in times real time. One core is judged
by processor time: medians, ratios of what they are in each round. Two are judged by the clock, which other
work on the machine disturbs: the least disturbed round of each. What sharing costs is processor time again.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

from sidecar.delivery.measure.whole_file import measure
from sidecar.model.readings import FloatArray

RATE_HZ = 48_000
BLOCK_FRAMES = 65_536


def programme(file: Path, minutes: float, kind: str) -> None:
    """Invented material: dense (limited noise, peaks everywhere) or spoken (syllables and pauses)."""
    rng = np.random.default_rng(3)
    with soundfile.SoundFile(file, "w", RATE_HZ, 2, "PCM_16") as out:
        for second in range(round(minutes * 60)):
            t = second + np.arange(RATE_HZ)[:, None] / RATE_HZ
            noise = rng.standard_normal((RATE_HZ, 2))
            if kind == "dense":
                out.write(0.95 * np.tanh(0.8 * noise))
            else:
                out.write(0.1 * noise * np.abs(np.sin(np.pi * 2 * t)) ** 3 * (np.sin(0.5 * t) > -0.6))


def decode(file: Path) -> None:
    """The floor: reading and decoding to floats, nothing else."""
    with soundfile.SoundFile(file) as source:
        while source.read(BLOCK_FRAMES, dtype="float32", always_2d=True).size:
            pass


def taken_s(work: Callable[[], object]) -> tuple[float, float]:
    """Processor time and clock time of one run."""
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return time.process_time() - processor, time.perf_counter() - clock


def race(file: Path, seconds: float, rounds: int) -> str:
    """A line of figures."""
    runs = [partial(decode, file), partial(measure, file, workers=1), partial(measure, file, workers=2)]
    for run in runs:
        run()
    times = np.array([[taken_s(run) for run in runs] for _ in range(rounds)])
    processor, clock = np.moveaxis(times, 2, 0).transpose(0, 2, 1)
    (floor, one, two), (floor_clock, one_clock, two_clock) = processor, clock

    def median(ratios: FloatArray) -> str:
        return f"{np.median(ratios):.2f}"

    return (
        f"reading {np.median(seconds / floor):5.0f}; one worker {np.median(seconds / one):5.0f}, "
        f"{median(one / floor)} of reading; two cost {median(two / one)} of one, by the clock "
        f"{seconds / two_clock.min():5.0f}, {one_clock.min() / two_clock.min():.2f} times one, "
        f"{two_clock.min() / floor_clock.min():.2f} of reading"
    )


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 15
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("dense", "spoken"):
            for suffix in ("wav", "flac"):
                file = Path(folder) / f"{kind}.{suffix}"
                programme(file, minutes, kind)
                print(f"{kind:7}{suffix:5}", race(file, minutes * 60, rounds), flush=True)
                file.unlink()


if __name__ == "__main__":
    main()
