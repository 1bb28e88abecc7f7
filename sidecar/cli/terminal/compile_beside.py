"""The second process of a first run: it compiles what the first one comes to last.

Started by :mod:`sidecar.cli.terminal.first_run`; it ends when its standard input does.
"""

from __future__ import annotations

import sys

import numpy as np

from sidecar.meter import Meter
from sidecar.meter.planes import fresh_planes
from sidecar.sources.child import end_with_parent


def compile_meter() -> None:
    """Compiles all but what a meter compiles with its first frames, the longest kernel first."""
    meter = Meter()
    meter.finish()
    meter.reading()


def compile_facts() -> None:
    """Compiles what the facts of a file are gathered with, the last kernel first."""
    from sidecar.delivery.measure.fact_kernels import loud_ends
    from sidecar.delivery.measure.facts_keeper import FactsKeeper
    from sidecar.delivery.measure.held_kernels import find_held

    planes, one = fresh_planes(2, 1), np.float32(1.0)
    find_held(planes, 2, 1, one, one)
    loud_ends(planes, 2, one)
    FactsKeeper(0, 48_000, 1.0, planes).add_frames(planes)


def main() -> None:
    end_with_parent()
    compile_meter()
    if sys.argv[1] == "files":
        compile_facts()


if __name__ == "__main__":
    main()
