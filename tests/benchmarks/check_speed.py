"""How fast a finished file is measured, against only reading it; and how much memory a long one takes.

Run: python tests/benchmarks/check_speed.py [minutes]
Prints, for one core and after warm-up: times real time, and the ratio to decoding alone in the same run.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from sidecar.delivery.measure import measure

RATE_HZ = 48_000
ROUNDS = 5
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
    """The floor: reading and decoding, nothing else."""
    with soundfile.SoundFile(file) as source:
        while source.read(BLOCK_FRAMES, dtype="float32", always_2d=True).size:
            pass


def fastest_s(work: Callable[[Path], object], file: Path) -> float:
    """Least processor time of some rounds: the one that was disturbed least."""
    taken = []
    for _ in range(ROUNDS):
        start = time.process_time()
        work(file)
        taken.append(time.process_time() - start)
    return min(taken)


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("dense", "spoken"):
            for suffix in ("wav", "flac"):
                file = Path(folder) / f"{kind}.{suffix}"
                programme(file, minutes, kind)
                measure(file)
                floor_s, whole_s = fastest_s(decode, file), fastest_s(measure, file)
                print(
                    f"{kind:7}{suffix:5} {minutes * 60 / whole_s:7.0f} times real time; "
                    f"decoding alone {minutes * 60 / floor_s:7.0f}; ratio {whole_s / floor_s:.1f}"
                )
                file.unlink()
        before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        file = Path(folder) / "long.wav"
        programme(file, 120, "spoken")
        measure(file)
        after_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"two hours: {after_mb:.0f} MB at most, {after_mb - before_mb:.0f} MB more than before it")


if __name__ == "__main__":
    main()
