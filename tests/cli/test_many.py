"""The same work on many files at a time."""

import os
import signal
import threading
from pathlib import Path

import pytest

from sidecar.cli.terminal.progress import each
from sidecar.errors import SourceError

PATHS = [Path(f"{number}.wav") for number in range(6)]


@pytest.mark.parametrize("processors", [-1, 0, 1, 3])
def test_results_are_in_order_and_a_fault_stops_nothing(processors):
    """Each place has its result or its own fault."""

    def work(place, tell, _workers):
        tell(0.5)
        if place == 2:
            raise SourceError("broken")
        return place * 10

    results = each(PATHS, work, processors)

    assert [result for result in results if not isinstance(result, SourceError)] == [0, 10, 30, 40, 50]
    assert str(results[2]) == "broken"


@pytest.fixture
def interruptible():
    """Ctrl-C does what Python makes of it, whatever the test runner or an earlier run made of it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def test_who_interrupts_does_not_wait_for_the_rest(interruptible):
    """What runs ends at its next word of progress, and nothing more is begun."""
    begun, told = [], threading.Event()

    def work(place, tell, _workers):
        begun.append(place)
        os.kill(os.getpid(), signal.SIGINT)
        for _ in range(1000):
            tell(0.5)
            told.wait(0.01)
        raise AssertionError("it was never interrupted")

    with pytest.raises(KeyboardInterrupt):
        each(PATHS, work, processors=1)
    assert begun == [0]
