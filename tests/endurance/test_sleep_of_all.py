"""Every process of a run is stopped for a while: a standstill that is no sleep, as the clocks show."""

import os
import signal
import time
from pathlib import Path

import pytest
from live_run import LiveRun
from starved import playing_numbers

from sidecar.journal import reader

pytestmark = pytest.mark.slow


STOPPED_S = 3.0


def descendants(pid):
    """All processes that *pid* has started, and itself."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [pid, *(one for child in children for one in descendants(int(child)))]


def test_a_stop_is_shown_as_what_it_was(loopback):
    """Player, sound server, capture and meter stop together: a gap of that length, and next to no loss."""
    loopback.down()
    loopback.up(channels=2)
    with playing_numbers(120) as player, LiveRun("live", "--device", "loopback") as run:
        run.wait_for(lambda line: line["type"] == "reading" and line["seconds"] > 2.0)
        everything = [player.pid, loopback.pid, *descendants(run.process.pid)]
        for pid in everything:
            os.kill(pid, signal.SIGSTOP)
        began_s = time.monotonic()
        time.sleep(STOPPED_S)
        for pid in everything:
            os.kill(pid, signal.SIGCONT)
        stopped_s = time.monotonic() - began_s
        back = run.wait_for_progress()
        run.wait_for(lambda line: line["seconds"] > back.line["seconds"] + 5.5)
        code, errors = run.end()
    [gap] = [event.text for event in reader.latest().events if event.kind == "gap"]

    assert (code, errors) == (0, "")
    assert gap.startswith("the sidecar was stopped for ")
    assert abs(float(gap.split()[5]) - stopped_s) < 0.5
    assert run.lines("reading")[-1]["dropped_samples"] < 48_000
