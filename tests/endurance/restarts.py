"""The sound server killed and started again during a run: what was missed, against what was said of it."""

import signal
import time
from dataclasses import dataclass

_USUAL_RATE_HZ = 48_000
_STEADY_S = 1.5  # longer than any restart of the capture that might still be under way


@dataclass(frozen=True)
class Restart:
    """What one restart did."""

    recovery_s: float
    """From the server's return to the first reading that measured on."""
    missing_s: float
    """Of the wall clock, by which the programme measured fell behind."""
    lost_s: float
    """What the run says was lost."""


def restart(loopback, run, down_s, **server):
    """Kills the server, leaves it down for so long, starts it again as *server* says.

    Before, it ran at the usual rate.
    """
    before = _steady(run)
    loopback.signal(signal.SIGKILL)
    time.sleep(down_s)
    loopback.up(**server)
    up_s = time.monotonic()
    first = run.wait_for_progress()
    after = _steady(run)
    return Restart(
        recovery_s=first.at_s - up_s,
        missing_s=(after.at_s - before.at_s) - (after.line["seconds"] - before.line["seconds"]),
        lost_s=after.line["dropped_samples"] / server.get("rate_hz", _USUAL_RATE_HZ)
        - before.line["dropped_samples"] / _USUAL_RATE_HZ,
    )


def _steady(run):
    """A reading behind a stretch in which nothing was amiss."""
    began = run.wait_for_progress()
    return run.wait_for(
        lambda line: line["type"] == "reading" and line["seconds"] >= began.line["seconds"] + _STEADY_S
    )
