"""How well the landing is predicted from an earlier pass that is not quite the same. Run on demand:

    python tests/benchmarks/landing_profiled.py [--count 40] [--draw 310000] [--kind song] [--sort blocks]

Each sort of difference is one between the earlier pass and the one that plays. Looks follow each other as
the advisor says and each move is obeyed at once, as in landing.py. A look counts once the difference it is
about has been heard for half a minute ("holds"); before the first section ends, the level changes or the
pass leaves the earlier one, nothing can know that it will ("before"). "off" is the miss of the landing
named, over the looks that count. The random starts 1000 to 5100 were used to choose constants of the advice.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from landing_floors import programme
from landing_ways import GOAL, faster_looks, integrated
from programmes import BLOCKS_PER_S, KINDS, Levels

from sidecar.advice import LandingAdvisor

JITTER_DB, STEP_DB, LOUDER_DB = 0.8, 1.5, 2.0
HEARD = 30 * BLOCKS_PER_S


@dataclass
class Passes:
    """Energies of the pass that plays and of the earlier one; the block from which looks count."""

    playing: Levels
    earlier: Levels
    told_from: int = 0


Differing = Callable[[str, int, Levels, np.random.Generator], Passes]


def louder(energies: Levels, gains_db: Levels | float) -> Levels:
    return np.asarray(energies * 10.0 ** (np.asarray(gains_db) / 10.0))


def blocks(kind: str, draw: int, energies: Levels, rng: np.random.Generator) -> Passes:
    return Passes(energies, louder(energies, rng.normal(0.0, JITTER_DB, len(energies))))


def sections(length_s: int) -> Differing:
    def differing(kind: str, draw: int, energies: Levels, rng: np.random.Generator) -> Passes:
        length = length_s * BLOCKS_PER_S
        gains_db = rng.normal(0.0, JITTER_DB, len(energies) // length + 2).repeat(length)
        first = int(rng.integers(length))
        earlier = louder(energies, gains_db[first : first + len(energies)])
        return Passes(energies, earlier, length - first + HEARD)

    return differing


def level(kind: str, draw: int, energies: Levels, rng: np.random.Generator) -> Passes:
    jittered = blocks(kind, draw, energies, rng)
    return Passes(energies, louder(jittered.earlier, rng.normal(0.0, LOUDER_DB)))


def turning(energies: Levels, rng: np.random.Generator) -> int:
    return int(len(energies) * rng.uniform(0.2, 0.6))


def steps(kind: str, draw: int, energies: Levels, rng: np.random.Generator) -> Passes:
    passes, at = blocks(kind, draw, energies, rng), turning(energies, rng)
    passes.earlier[at:] = louder(passes.earlier[at:], rng.normal(0.0, STEP_DB))
    return Passes(energies, passes.earlier, at + HEARD)


def leaves(kind: str, draw: int, energies: Levels, rng: np.random.Generator) -> Passes:
    passes, at = blocks(kind, draw, energies, rng), turning(energies, rng)
    other = np.resize(programme(kind, draw + 50_000), len(energies))
    passes.earlier[at:] = other[at:]
    return Passes(energies, passes.earlier, at + HEARD)


SORTS: dict[str, Differing] = {
    "blocks": blocks,
    "3 s": sections(3),
    "10 s": sections(10),
    "30 s": sections(30),
    "level": level,
    "steps": steps,
    "leaves": leaves,
}


@dataclass
class Outcome:
    errors_lu: list[float] = field(default_factory=list)
    off_lu: list[float] = field(default_factory=list)
    widths_lu: list[float] = field(default_factory=list)
    told: list[bool] = field(default_factory=list)
    untold: list[bool] = field(default_factory=list)


def advised(passes: Passes, outcome: Outcome) -> None:
    """Obeys ``this_pass`` at every look; notes whether its band holds the landing of each move."""
    material = passes.playing
    advisor = LandingAdvisor(GOAL, len(material) / BLOCKS_PER_S, passes.earlier)
    metered, fader_db, done = material.copy(), 0.0, 0
    for now in faster_looks(material):
        advisor.push(metered[done:now], fader_db)
        done = now
        move = advisor.this_pass()
        fader_db += move.gain_db
        metered[now:] = louder(material[now:], fader_db)
        if not math.isfinite(move.landing):
            continue
        landing = integrated(metered)
        holds = move.landing_low - 1e-6 <= landing <= move.landing_high + 1e-6
        if now < passes.told_from:
            outcome.untold.append(holds)
            continue
        outcome.told.append(holds)
        outcome.off_lu.append(landing - move.landing)
        outcome.widths_lu.append(move.landing_high - move.landing_low)
    outcome.errors_lu.append(abs(integrated(metered) - GOAL.target_lufs))


def measure(kind: str, sort: str, count: int, draw: int) -> None:
    outcome = Outcome()
    for number in range(draw, draw + count):
        rng = np.random.default_rng([*sort.encode(), number])
        advised(SORTS[sort](kind, number, programme(kind, number), rng), outcome)
    missed, off = np.quantile(outcome.errors_lu, [0.5, 0.9]), np.quantile(np.abs(outcome.off_lu), [0.5, 0.9])
    untold = f"{np.mean(outcome.untold):10.1%}" if outcome.untold else ""
    print(
        f"{kind:6} {sort:7} {missed[0]:7.3f} {missed[1]:6.3f}   {off[0]:6.3f} {off[1]:6.3f}"
        f"   {np.median(outcome.widths_lu):6.3f}  {np.mean(outcome.told):7.1%}{untold}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40, help="programmes of each kind and sort")
    parser.add_argument("--draw", type=int, default=310_000)
    parser.add_argument("--kind", choices=list(KINDS), action="append")
    parser.add_argument("--sort", choices=list(SORTS), action="append")
    options = parser.parse_args()
    print(f"{options.count} programmes each, random starts from {options.draw}")
    print("              error median p90   off median p90   width    holds (before)")
    for sort in options.sort or SORTS:
        for kind in options.kind or KINDS:
            measure(kind, sort, options.count, options.draw)


if __name__ == "__main__":
    main()
