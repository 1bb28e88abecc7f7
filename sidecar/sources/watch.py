"""Detection of stalled capture: whether audio arrives, when to restart, and how much was missed.

Pure: times are arguments, on one monotonic clock. A device that opens and stays silent works
(some loopback inputs deliver nothing while nothing plays); only one that cannot be opened runs out
of patience.
"""

from __future__ import annotations

from typing import Literal

STALL_S = 1.0
"""Gaps up to 40 ms are normal on a busy machine (measured); a second without a frame is not."""
LATE_S = 0.5
"""Checks are made ten times a second. On a machine so busy that a check comes later than this, the sound
system is late as well: its second counts from then on, as a restart would lose what it still buffers."""
RETRY_S = 0.5
OPEN_LIMIT_S = 10.0
"""Opening takes 0.3 s here; a cold machine with many devices needs several seconds. Longer is hung."""
_LONGEST_QUIET_S = 32.0

Verdict = Literal["wait", "restart", "lost"]


class CaptureWatchdog:
    """Follows one input through stalls, deaths and returns; begins with an open stream."""

    def __init__(self, patience_s: float, now_s: float) -> None:
        self._patience_s = patience_s
        self._state: Literal["opening", "open", "down"] = "open"
        self._since_s = now_s
        self._arrived_s = now_s
        self._reached_s = now_s
        self._retry_s = now_s
        self._looked_s = now_s
        self._excused_s = now_s
        self._quiet_limit_s = STALL_S
        self._missed_s = 0.0
        self._restarted = False  # since the last frames
        self._away = False  # could not be opened at some time since the last frames

    def started(self, now_s: float) -> None:
        """A new capture process was started."""
        self._state, self._since_s, self._restarted = "opening", now_s, True

    def opened(self, now_s: float) -> None:
        """The capture process said that the stream is open; saying it again is harmless."""
        if self._state == "opening":
            self._state, self._since_s = "open", now_s

    def ended(self, now_s: float) -> None:
        """The capture process ended, whatever the reason."""
        if self._state == "down":
            return
        stood = self._state == "open" and (not self._restarted or now_s - self._since_s >= STALL_S)
        if stood:
            self._reached_s = now_s
        self._retry_s = now_s if stood else now_s + RETRY_S
        self._state, self._away = "down", True

    def report_frames(self, first_s: float, last_s: float) -> float:
        """Frames arrived, captured between these times. Returns the seconds missed before them:
        0 unless the capture was started anew since the frames before."""
        missed_s = self._missed_s
        if self._restarted and first_s - self._since_s <= STALL_S:
            missed_s += max(0.0, first_s - self._arrived_s)
        elif self._restarted:
            missed_s += self._missed_until_open()
        self._state = "open"
        self._arrived_s = self._reached_s = last_s
        self._missed_s = 0.0
        self._quiet_limit_s = STALL_S
        self._restarted = self._away = False
        return missed_s

    def stood_still(self, seconds: float) -> None:
        """For so long nothing ran, this watch neither: what it waits for gets its time from now on."""
        self._since_s += seconds
        self._arrived_s += seconds
        self._reached_s += seconds
        self._retry_s += seconds

    def _missed_until_open(self) -> float:
        """What was missed by a stream that is open and gives nothing: from its opening on nothing was
        played; if it could be opened at once, nothing was played before that either."""
        return max(0.0, self._since_s - self._arrived_s) if self._away else 0.0

    def verdict(self, now_s: float) -> Verdict:
        """What to do now. On "restart" the caller starts a new process and says so."""
        if now_s - max(self._looked_s, self._arrived_s) >= LATE_S:
            self._excused_s = now_s
        self._looked_s = now_s
        if self._state == "open":
            return self._verdict_while_open(now_s)
        if now_s - self._reached_s >= self._patience_s:
            return "lost"
        if self._state == "opening":
            overdue = now_s - self._since_s >= OPEN_LIMIT_S
            self._away = self._away or overdue
            return "restart" if overdue else "wait"
        return "restart" if now_s >= self._retry_s else "wait"

    def _verdict_while_open(self, now_s: float) -> Verdict:
        if now_s - max(self._since_s, self._arrived_s, self._excused_s) < self._quiet_limit_s:
            return "wait"
        if self._restarted:  # opening it again has not helped: alive, but nothing plays
            self._quiet_limit_s = min(2 * self._quiet_limit_s, _LONGEST_QUIET_S)
            self._missed_s += self._missed_until_open()
            self._arrived_s, self._away = now_s, False
        self._reached_s = now_s
        return "restart"
