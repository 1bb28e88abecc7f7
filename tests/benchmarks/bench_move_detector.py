"""How often guesses at fader moves are right, how many moves are found, how many are invented.

Run: python tests/benchmarks/bench_move_detector.py        measures, on programmes the weights never saw
     python tests/benchmarks/bench_move_detector.py fit    fits the weights and prints them
"""

import sys
import time

import numpy as np
from moved_programmes import KINDS, folded, with_moves

from sidecar.advice.faders import move_detector
from sidecar.advice.faders.move_detector import MoveDetector, evidence

SECONDS, EVERY_S = 600, 60
LAYOUTS = {1: "one channel", 2: "stereo", 3: "stems"}
FITTED_ON, MEASURED_ON = range(16), range(100, 108)
NEAR_S, NEAR_DB = 1.5, 1.2


def programme(kind, layout, draw, moved):
    rng = np.random.default_rng([draw, layout])
    energies = folded(rng, KINDS[kind](rng, SECONDS), 0 if layout == 3 else layout)
    return with_moves(rng, energies, EVERY_S) if moved else (energies, [])


def matches(guess, moves):
    return [
        (time_s, change_db)
        for time_s, change_db in moves
        if abs(guess.time_s - time_s) < NEAR_S and abs(guess.change_db - change_db) < NEAR_DB
    ]


class Collector(MoveDetector):
    """Keeps the evidence of every candidate instead of judging it."""

    def __init__(self, channels):
        super().__init__(channels, 0.0)
        self.seen = []

    def _guess(self, block, step_db):
        self.seen.append(evidence(self._levels, block, step_db))
        return super()._guess(block, step_db)


def fit():
    for layout in LAYOUTS:
        rows, right = [], []
        for kind in KINDS:
            for draw in FITTED_ON:
                energies, moves = programme(kind, layout, draw, moved=True)
                collector = Collector(energies.shape[1])
                right += [bool(matches(guess, moves)) for guess in collector.push(energies)]
                rows += collector.seen
        print(f"    {layout}: {tuple(logistic(np.array(rows), np.array(right)).round(2).tolist())},")


def logistic(rows, right, ridge=0.05):
    """Weights of a logistic regression, the constant first, by Newton's method."""
    mean, scale = rows.mean(axis=0), rows.std(axis=0) + 1e-9
    inputs = np.column_stack([np.ones(len(rows)), (rows - mean) / scale])
    weights = np.zeros(inputs.shape[1])
    for _ in range(50):
        chance = 1.0 / (1.0 + np.exp(-inputs @ weights))
        curvature = (inputs.T * (chance * (1.0 - chance))) @ inputs + ridge * np.eye(len(weights))
        weights += np.linalg.solve(curvature, inputs.T @ (right - chance) - ridge * weights)
    slopes = weights[1:] / np.where(scale > 1e-6, scale, np.inf)
    return np.concatenate([[weights[0] - slopes @ mean], slopes])


def measure():
    for layout, name in LAYOUTS.items():
        total, found = 0, {0.5: [], 0.8: []}
        for kind in KINDS:
            for draw in MEASURED_ON:
                energies, moves = programme(kind, layout, draw, moved=True)
                total += len(moves)
                guesses = MoveDetector(energies.shape[1], min(found)).push(energies)
                for least, hits in found.items():
                    hits += [bool(matches(g, moves)) for g in guesses if g.confidence >= least]
        for least, hits in found.items():
            print(
                f"{name}, confidence {least}: {np.mean(hits or [0]):.0%} of {len(hits)} guesses right, "
                f"{sum(hits) / total:.0%} of {total} moves found, "
                f"{invented(layout, least):.1f} an hour invented where no fader moved"
            )


def invented(layout, least):
    count = hours = 0
    for kind in KINDS:
        for draw in MEASURED_ON:
            energies, _ = programme(kind, layout, draw, moved=False)
            count += len(MoveDetector(energies.shape[1], least).push(energies))
            hours += SECONDS / 3600
    return count / hours


def pace():
    energies, _ = programme("band", 3, 0, moved=True)
    detector = MoveDetector(energies.shape[1])
    start = time.perf_counter()
    for block in energies:
        detector.push(block)
    print(f"{SECONDS / (time.perf_counter() - start):.0f} times real time, block by block, stems")


if __name__ == "__main__":
    if "fit" in sys.argv[1:]:
        fit()
    else:
        print(f"window {move_detector.WINDOW} blocks")
        measure()
        pace()
