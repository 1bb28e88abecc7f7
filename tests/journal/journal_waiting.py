"""Waiting for the journal's writer: for a condition, with a bound."""

import time

BOUND_S = 30.0


def wait_until(condition):
    """Returns when *condition* holds; fails when it does not within the bound."""
    end_s = time.monotonic() + BOUND_S
    while not condition():
        assert time.monotonic() < end_s, "the writer has not got there in 30 s"
        time.sleep(0.01)
