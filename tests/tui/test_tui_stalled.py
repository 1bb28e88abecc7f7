"""A terminal that stops taking output stops the picture and nothing else."""

from itertools import pairwise

from stalled_screen import StalledScreen

from tui.drawing.wording import clock

SECONDS = 8.0
PER_SECOND = 10
NEVER_LATER_THAN_S = 1.0


def test_readings_keep_their_rate_while_nobody_reads_the_screen():
    """Ten a second over OSC for eight seconds of programme, none of it lost, and then the screen goes on."""
    with StalledScreen() as run:
        run.read_until(b"measuring")
        heard = [run.stall()]
        held = run.waiting_bytes()
        while heard[-1].seconds < heard[0].seconds + SECONDS:
            heard.append(run.reading())
        still_held = run.waiting_bytes()
        run.read_until(clock(heard[-1].seconds + 2.0).encode())

    assert held == still_held
    assert len(heard) - 1 >= 0.9 * SECONDS * PER_SECOND
    assert max(after.seconds - before.seconds for before, after in pairwise(heard)) < NEVER_LATER_THAN_S
    assert {0} == {reading.lost for reading in heard}
