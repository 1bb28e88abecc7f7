"""Detection of sleep of the machine, from a clock that stops in sleep and one that does not, and of a stop
of the processes, in which neither does."""

from __future__ import annotations

import math
import sys
import time
from typing import NamedTuple

_LEAST_S = 0.5
"""Two clocks are not read at the same moment; a sleep is never as short."""
_STOOD_S = 2.0
"""A busy machine holds one process up for a second; not all of them, and the sound with them, for two."""

_FLOWING_S = 0.5

_NAMES = {"linux": "CLOCK_BOOTTIME", "darwin": "CLOCK_MONOTONIC"}
_COUNTS_SLEEP: int | None = getattr(time, _NAMES.get(sys.platform, ""), None)


def clocks() -> tuple[float, float]:
    """Seconds on the monotonic clock, and on one that goes on in sleep where the system has one.

    Linux stops CLOCK_MONOTONIC in sleep (clock_gettime(2)); macOS stops what Python calls monotonic and
    not its own CLOCK_MONOTONIC (clock_gettime(3); from memory). Where both are the same clock, a sleep
    shows as a standstill.
    """
    awake_s = time.monotonic()
    if _COUNTS_SLEEP is None:
        return awake_s, awake_s
    return awake_s, time.clock_gettime(_COUNTS_SLEEP)


def real_time_s() -> float:
    """Seconds on the clock that goes on in sleep, where the system has one."""
    return clocks()[1]


class Standstill(NamedTuple):
    """What held up a stream between two checks, in seconds; 0 for what did not."""

    slept_s: float = 0.0
    """The machine slept."""
    stopped_s: float = 0.0
    """The machine was awake, and every process of the stream was stopped."""
    counted_s: float = 0.0
    """How many of all these the monotonic clock has counted."""


class Sleep:
    """Detects sleep between checks of a stream, several times a second."""

    def __init__(
        self, awake_s: float, all_s: float, *, counts_sleep: bool = _COUNTS_SLEEP is not None
    ) -> None:
        """awake_s, all_s: as :func:`clocks` gives them. counts_sleep: whether the second goes on in sleep
        and the first does not.
        """
        self._counts_sleep = counts_sleep
        self._awake_s = awake_s
        self._all_s = all_s
        self._frames = 0
        self._arrived_s = -math.inf

    def since_last(self, awake_s: float, all_s: float, frames: int) -> Standstill:
        """Returns what held up the stream since the last check.

        frames: how many have arrived. The check alone may be late while frames pile up. Where none came in
        all that time although they flowed before, everything stopped. On a machine with a clock for each
        that was no sleep: the processes were stopped. On one with a single clock it is taken for a sleep.
        """
        passed_s = awake_s - self._awake_s
        suspended_s = all_s - self._all_s - passed_s
        was_flowing = self._awake_s - self._arrived_s < _FLOWING_S
        stood_s = passed_s if frames == self._frames and was_flowing and passed_s >= _STOOD_S else 0.0
        if frames != self._frames:
            self._arrived_s = awake_s
        self._awake_s, self._all_s, self._frames = awake_s, all_s, frames
        slept_s = suspended_s if suspended_s >= _LEAST_S else 0.0
        if self._counts_sleep:
            return Standstill(slept_s, stood_s, stood_s)
        return Standstill(slept_s + stood_s, 0.0, stood_s)
