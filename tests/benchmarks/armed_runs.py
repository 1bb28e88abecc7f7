"""Plays invented runs with an armed fader and judges what leaves for the workstation.

    python tests/benchmarks/armed_runs.py 2000 [first random start]

Half of the workstations are honest, if late, and half say anything; see tests/run/fader_scenarios.py. Prints
each fault with its random start, and how much was played; ends with 1 where there was a fault.
"""

from __future__ import annotations

import logging
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "run"))
from fader_scenarios import Scenario


def main(count: int, first: int) -> int:
    """Plays *count* scenarios; the exit code."""
    logging.disable()
    began_s = time.monotonic()
    faults = datagrams = 0
    risen_db = 0.0
    for draw in range(first, first + count):
        scenario = Scenario(draw, is_honest=draw % 2 == 0)
        for fault in scenario.run():
            print(fault)
            faults += 1
        datagrams += scenario.datagrams
        risen_db = max(risen_db, scenario.risen_db)
    print(
        f"{count} runs from random start {first} in {time.monotonic() - began_s:.0f} s: "
        f"{datagrams} positions left, "
        f"the most that one pass was raised by is {risen_db:.2f} dB, {faults} faults."
    )
    return int(faults > 0)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    sys.exit(main(*(numbers + [100, 0][len(numbers) :])))
