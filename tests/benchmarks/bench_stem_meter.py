"""How fast the stems of a mix are measured, against as many stereo meters.

Run: python tests/benchmarks/bench_stem_meter.py
Prints, for one core and after warm-up: times real time, and the cost as a ratio to that of the meters.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from sidecar.meter import Meter, StemMeter, summed

RATE_HZ = 48_000
SECONDS = 20
ROUNDS = 5
BLOCK_FRAMES = (512, 4_096, 65_536)


def programme(stems: int, kind: str) -> np.ndarray:
    """Invented stems: dense (limited noise, peaks everywhere) or in phrases, every other one silent."""
    rng = np.random.default_rng(3)
    frames = 0.95 * np.tanh(0.8 * rng.standard_normal((SECONDS * RATE_HZ, 2 * stems)))
    if kind == "phrases":
        second = np.arange(len(frames)) // RATE_HZ
        frames *= 0.2 * (((second[:, None] + np.arange(2 * stems) // 2) // 5) % 2)
    return frames.astype(np.float32)


def times_real_time(work: Callable[[np.ndarray], object], frames: np.ndarray, size: int) -> float:
    """By the least processor time of some rounds: the one that was disturbed least."""
    taken = []
    for _ in range(ROUNDS):
        start = time.process_time()
        for at in range(0, len(frames), size):
            work(frames[at : at + size])
        taken.append(time.process_time() - start)
    return SECONDS / min(taken)


def main() -> None:
    for stems in (2, 8, 16):
        for kind in ("dense", "phrases"):
            frames = programme(stems, kind)
            for size in BLOCK_FRAMES:
                meter, pair = StemMeter(RATE_HZ, stems), Meter(RATE_HZ)
                speed = times_real_time(meter.push, frames, size)
                pairs = times_real_time(pair.push, np.ascontiguousarray(frames[:, :2]), size) / stems
                mixing = times_real_time(lambda block, n=stems: summed(block, n), frames, size)
                print(
                    f"{stems:2} stems {kind:8} blocks of {size:6} frames: {speed:5.0f} times real time, "
                    f"{pairs / speed:.2f} times the cost of {stems} stereo meters; "
                    f"adding them up {mixing:6.0f} times real time"
                )


if __name__ == "__main__":
    main()
