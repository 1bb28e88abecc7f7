"""A terminal that stops taking output stops the picture and nothing else."""

import pytest
from stalled_screen import StalledScreen

from tui.drawing.wording import clock

pytestmark = pytest.mark.slow

SECONDS = 8.0


def test_readings_go_on_while_nobody_reads_the_screen():
    """Over OSC, none of the programme lost, while the terminal takes nothing more; then the screen goes on.
    How many there are a second is for ``benchmarks/screen_cost.py``."""
    with StalledScreen() as run:
        run.read_until(b"measuring")
        heard = [run.stall()]
        held = run.waiting_bytes()
        while heard[-1].seconds < heard[0].seconds + SECONDS:
            heard.append(run.reading())
        still_held = run.waiting_bytes()
        run.read_until(clock(heard[-1].seconds + 2.0).encode())

    assert held == still_held
    assert {reading.lost for reading in heard} == {0}
