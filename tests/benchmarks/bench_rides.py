"""How long a ride plan for an hour takes, against one measurement of it; how often it keeps all limits.

Run: python tests/benchmarks/bench_rides.py
"""

import time

import numpy as np
from programmes import KINDS

from sidecar.advice.rides.plan import plan_rides
from sidecar.loudness.statistics import measured
from sidecar.settings.goals import Goal

GOALS = {
    "short-term": Goal("s", "S", -23.0, 0.2, 0.2, -1.0, -18.0, max_short_term_lufs=-18.0),
    "all three": Goal(
        "a", "A", -23.0, 0.2, 0.2, -1.0, -18.0, 1.0, -17.0, max_momentary_lufs=-14.0, range_guide_lu=10.0
    ),
}


def main():
    for goal_name, goal in GOALS.items():
        for kind_name, kind in KINDS.items():
            met, counts, ratios = 0, [], []
            for draw in range(10):
                levels = kind(np.random.default_rng(draw)) - 23.0
                energies = 10.0 ** (levels / 10.0)
                start = time.perf_counter()
                measured(energies)
                look_s = time.perf_counter() - start
                start = time.perf_counter()
                plan = plan_rides(energies, goal)
                ratios.append((time.perf_counter() - start) / look_s)
                met += plan.is_met
                counts.append(len(plan.rides))
            print(
                f"{goal_name}, {kind_name}: limits kept in {met} of 10, "
                f"{np.median(counts):.0f} rides (most {max(counts)}), {np.median(ratios):.0f} times a look"
            )
    shows = np.concatenate([KINDS["show"](np.random.default_rng(draw)) for draw in range(9)])
    hour = 10.0 ** (shows[:36_000] / 10.0 - 2.3)
    start = time.perf_counter()
    plan = plan_rides(hour, GOALS["all three"])
    print(f"an hour ({len(hour)} blocks): {time.perf_counter() - start:.2f} s, {len(plan.rides)} rides")


if __name__ == "__main__":
    main()
