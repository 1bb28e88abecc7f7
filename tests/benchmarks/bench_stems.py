"""How long advice on 16 stems takes after an hour, against the 36 000 blocks' bare evaluation.

Run: python tests/benchmarks/bench_stems.py
"""

import dataclasses
import time

import numpy as np

from sidecar.advice import StemAdvisor
from sidecar.settings.goals import Goal

STEMS, BLOCKS, BUDGET_S = 16, 36_000, 0.2
GOAL = Goal("bench", "Bench", -23.0, 0.2, 0.2, -1.0, -18.0)


def advisor_after_an_hour(spread_db):
    """Stems that share a room, in phrases; the faders moved ten times."""
    rng = np.random.default_rng(1)
    advisor = StemAdvisor([f"stem {n}" for n in range(STEMS)], GOAL)
    mixing = rng.normal(size=(STEMS, STEMS)) * 0.2 + np.eye(STEMS)
    room = mixing @ mixing.T
    for _ in range(10):
        faders_db = rng.uniform(-6.0, 3.0, STEMS)
        phrases = np.repeat(rng.choice([0.003, 0.3, 1.0], size=(BLOCKS // 200, STEMS)), 20, axis=0)
        level = phrases * 10.0 ** ((faders_db - rng.uniform(35.0, 35.0 + spread_db, STEMS)) / 20.0)
        products = level[:, :, None] * room * level[:, None, :]
        peaks = 20.0 * np.log10(level) + 14.0
        advisor.push(products, faders_db, peaks, peaks.max(axis=1) + 3.0)
    return advisor, faders_db


def best_of(action, times=5):
    """Shortest of a few runs, seconds."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return min(taken)


def main():
    advisor, faders_db = advisor_after_an_hour(spread_db=12.0)
    now = advisor.loudness(faders_db)
    look_s = best_of(lambda: advisor.loudness(faders_db))
    print(f"one fader set, {STEMS} stems, {BLOCKS} blocks: {look_s * 1e3:.1f} ms")
    for offset_lu in (-8.0, -4.0, -1.0, -0.5, 0.5, 1.0, 2.0, 4.0, 8.0):
        advisor.goal = dataclasses.replace(GOAL, target_lufs=now + offset_lu)
        taken_s = best_of(advisor.moves)
        moves = len(advisor.moves())
        print(
            f"moves(), target {offset_lu:+.1f} LU: {taken_s * 1e3:.0f} ms, {moves} faders, "
            f"{taken_s / look_s:.1f} looks, {taken_s / BUDGET_S:.2f} of {BUDGET_S * 1e3:.0f} ms"
        )
    print(f"build_up(): {best_of(advisor.build_up, 1) * 1e3:.0f} ms")


if __name__ == "__main__":
    main()
