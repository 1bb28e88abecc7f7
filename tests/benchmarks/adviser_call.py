"""What one look of the adviser costs after minutes and after hours, in processor time.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/adviser_call.py (as the command line sets it)
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from sidecar.advice.programme.advisor import ProgrammeAdvisor
from sidecar.settings.goals import load_goal

MINUTES = (1, 10, 60, 240)
LOOKS = 15


@dataclass
class Cost:
    look_ms: float
    """The median of LOOKS looks, each behind a second more of programme."""
    push_ms: float


def cost(minutes: int) -> Cost:
    rng = np.random.default_rng(5)
    advisor = ProgrammeAdvisor(load_goal("r128"), duration_s=minutes * 60.0 * 1.2)

    def push(blocks: int) -> None:
        level_db = -23.0 + rng.normal(0.0, 3.0) + rng.normal(0.0, 2.0, blocks)
        energy = 10.0 ** ((level_db + 0.691) / 10.0)
        advisor.push_blocks(energy, np.full(blocks, -6.0), None)

    for _ in range(minutes * 6):
        push(100)
    advisor.outlook(2.0)
    looks, pushes = [], []
    for _ in range(LOOKS):
        start = time.process_time()
        push(10)
        middle = time.process_time()
        advisor.outlook(2.0)
        looks.append(time.process_time() - middle)
        pushes.append(middle - start)
    return Cost(1e3 * float(np.median(looks)), 1e3 * float(np.median(pushes)))


def main() -> None:
    for minutes in MINUTES:
        spent = cost(minutes)
        print(f"after {minutes:4} min: a look {spent.look_ms:5.1f} ms, 1 s of blocks {spent.push_ms:.2f} ms")


if __name__ == "__main__":
    main()
