"""The only access to a workstation's master fader: a guard, a lock and the call that sends a datagram."""

from __future__ import annotations

import threading
from collections.abc import Callable

from sidecar.advice.faders.guard import FaderGuard
from sidecar.surfaces.claim import FaderClaim


class FaderLine:
    """Sends positions that the guard allows. Every method may be called from any thread.

    The guard's decision and the sending are under one lock, so that nothing is sent once :meth:`revoke` or
    :meth:`close` has returned, whatever other threads do.
    """

    def __init__(
        self,
        send: Callable[[float], None],
        *,
        query: Callable[[], None] | None = None,
        clock: Callable[[], float],
        rounding_db: float = 0.0,
        claim: FaderClaim | None = None,
    ) -> None:
        """send: sends the fader to a position in dB, in one datagram; must return at once.
        query: sends a question for the fader's position, where the workstation can be asked.
        clock: real time in seconds, unless the fader is a simulated one with a time of its own.
        claim: locks the fader against other runs while the line is open.
        """
        self.clock = clock
        self.stranger = ""
        """A sentence on the last other sender to the feedback address, whose reports are ignored."""
        self._send = send
        self._query = query
        self._guard = FaderGuard(rounding_db)
        self._lock = threading.Lock()
        self._revocations = 0
        self._claim = claim

    def confirm(self, position_db: float) -> float:
        """Records a position in dB that the workstation reports; returns the clock's time in seconds."""
        with self._lock:
            now_s = self.clock()
            self._guard.confirm(now_s, position_db)
            return now_s

    def open(self) -> str:
        """Allows positions to be sent from the next report on; returns why not, or nothing."""
        with self._lock:
            if self._revocations:
                return "Not armed: it was disarmed at the same moment. Arm it again."
            if self._claim and not self._claim.acquire():
                return "Not armed: another sidecar on this machine has this fader. Disarm it there first."
            self._guard.open()
            return ""

    def close(self) -> None:
        """Sends nothing from now on, and releases the claim."""
        with self._lock:
            self._guard.close()
            if self._claim:
                self._claim.release()

    def revoke(self) -> None:
        """Sends nothing from now on, and refuses :meth:`open` until :meth:`settle` was called as often.

        For a disarm that is still queued behind other commands: an arm that was sent before it must not open
        the line again.
        """
        with self._lock:
            self._revocations += 1
            self._guard.close()

    def settle(self) -> None:
        """Ends one revocation, once its disarm has been carried out."""
        with self._lock:
            self._revocations = max(0, self._revocations - 1)

    def query(self) -> None:
        """Asks the workstation where its fader is, while the line is open and where it can be asked."""
        with self._lock:
            if self._query and self._guard.is_open:
                self._query()

    def advance(self, target_db: float | None, *, may_rise: bool) -> float | None:
        """Sends the next position on the way to *target_db*, where there is one; returns it."""
        with self._lock:
            position_db = self._guard.next_position(self.clock(), target_db, may_rise=may_rise)
            if position_db is not None:
                self._send(position_db)
            return position_db
