"""How fast a finished file is measured, against only reading it; and how much memory a long one takes.

Run: python tests/benchmarks/check_speed.py [minutes] [rounds]
Prints the best of some rounds, in which reading alone, one worker and two take turns: times real time by
processor time for one worker, by the clock for two.
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

from sidecar.delivery.measure import measure

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
    times = np.array([[taken_s(run) for run in runs] for _ in range(rounds)]).min(axis=0)
    (floor, floor_clock), (one, one_clock), (_, two_clock) = times
    return (
        f"reading alone {seconds / floor:6.0f}; one worker {seconds / one:5.0f}, {one / floor:.1f} of it; "
        f"by the clock: two workers {seconds / two_clock:5.0f}, {one_clock / two_clock:.2f} times one, "
        f"{two_clock / floor_clock:.2f} of reading"
    )


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 7
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("dense", "spoken"):
            for suffix in ("wav", "flac"):
                file = Path(folder) / f"{kind}.{suffix}"
                programme(file, minutes, kind)
                print(f"{kind:7}{suffix:5}", race(file, minutes * 60, rounds), flush=True)
                file.unlink()


if __name__ == "__main__":
    main()
