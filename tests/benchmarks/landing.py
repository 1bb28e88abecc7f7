"""How well the master fader's advice lands invented programmes. Run on demand:

    python tests/benchmarks/landing.py [--count 70] [--draw 50000] [--set pieces] [--insider]

Looks follow each other as the advisor says, every 30 s and faster near the end; each move is obeyed at
once. Compared with the habit of resetting the meter, reading what has played since the last move and moving
by the difference, every 30 s; the rows "at …" give either one at the other's looks. "plain" is the simplest
rule that uses all that was heard, at the advice's looks. Below all lie the two floors of
``landing_floors.py``. Two sets of programmes by two laws: ``programmes.py`` (pieces) and
``programmes_by_plan.py`` (plan). Constants of the advice were chosen on
the random starts 1000 to 5100.
"""

from __future__ import annotations

import argparse
import time
from itertools import islice

import numpy as np
from landing_floors import SETS, insider, omniscient, programme
from landing_ways import GOAL, Outcome, advised, every_look, faster_looks, habit, next_pass_error, plain

from sidecar.advice import LandingAdvisor

ROWS = ("habit", "plain", "cold", "profile", "omniscient", "insider", "habit at cold's", "cold at habit's")


def compare(kind: str, count: int, draw: int, with_insider: bool) -> None:
    found_by = {name: Outcome() for name in ROWS if with_insider or name != "insider"}
    next_worst = 0.0
    for number in range(draw, draw + count):
        material = programme(kind, number)
        other = material * 10.0 ** (np.random.default_rng(number).normal(0.0, 0.8, len(material)) / 10)
        slow, fast = every_look(material), faster_looks(material)
        habit(material, found_by["habit"], slow)
        habit(material, found_by["habit at cold's"], fast)
        plain(material, found_by["plain"], fast)
        omniscient(material, found_by["omniscient"])
        advised(material, found_by["cold"], fast)
        advised(material, found_by["cold at habit's"], slow)
        advised(material, found_by["profile"], fast, other)
        if with_insider:
            insider(kind, number, material, found_by["insider"])
        next_worst = max(next_worst, next_pass_error(material, number - draw))
    print(f"\n{kind}: {count} programmes, random starts from {draw}", end="; ")
    print(f"next_pass off by {next_worst:.4f} LU at most")
    print("                    median   p90   (share of habit)  travel  share  band holds")
    for name, found in found_by.items():
        print(f"  {name:15} {_row(found, found_by['habit'], count)}")


def _row(found: Outcome, by_habit: Outcome, count: int) -> str:
    shares = [found.quantile(share) / by_habit.quantile(share) for share in (0.5, 0.9)]
    held = f"{found.covered / found.looks:10.1%}" if found.looks else ""
    return (
        f"{found.quantile(0.5):8.3f} {found.quantile(0.9):6.3f}   {shares[0]:6.3f} {shares[1]:6.3f}"
        f"  {found.travel_db / count:7.1f} {found.travel_db / by_habit.travel_db:6.2f} {held}"
    )


def clock() -> None:
    """Times of the calls on a four-hour history that keeps growing."""
    rng = np.random.default_rng(4)
    shows = [programme("show", number) for number in range(20)]
    longer = np.resize(np.concatenate(shows), round(4.5 * 36_000))
    material = longer[: 4 * 36_000]
    for name, profile in {
        "cold": None,
        "profile": longer * 10 ** (rng.normal(0, 0.8, len(longer)) / 10),
    }.items():
        advisor = LandingAdvisor(GOAL, 4.5 * 3600, profile)
        advisor.push(material, 0.0, -6.0)
        to_come = iter(longer[len(material) :])
        for call in (advisor.next_pass, advisor.this_pass):
            times = []
            for block in islice(to_come, 60):
                advisor.push(float(block), 0.0, -6.0)
                began = time.perf_counter()
                call()
                times.append(time.perf_counter() - began)
            median, worst = np.median(times) * 1e3, max(times) * 1e3
            print(f"  {call.__name__:10} {name:8} median {median:6.1f} ms, worst {worst:6.1f} ms")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=70, help="programmes of each kind")
    parser.add_argument("--draw", type=int, default=50_000)
    parser.add_argument("--set", choices=SETS, action="append", help="one set of programmes only")
    parser.add_argument("--insider", action="store_true", help="also the floor of the insider: slow")
    options = parser.parse_args()
    for name in options.set or SETS:
        for kind in SETS[name]:
            compare(kind, options.count, options.draw, options.insider)
    print("\nfour hours of history, a look after every 100 ms:")
    clock()


if __name__ == "__main__":
    main()
