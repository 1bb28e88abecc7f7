"""The only way to a workstation's programme fader: a guard, a lock and the call that sends a datagram."""

from __future__ import annotations

import threading
from collections.abc import Callable

from sidecar.advice.faders.guard import FaderGuard
from sidecar.surfaces.claim import FaderClaim


class FaderLine:
    """Sends positions that the guard lets through. Every method may be called from any thread.

    The guard decides and the datagram leaves under one lock, so that nothing is sent once :meth:`revoke`
    or :meth:`close` has returned, whatever other threads are in the midst of.
    """

    def __init__(
        self,
        send: Callable[[float], None],
        *,
        clock: Callable[[], float],
        rounding_db: float = 0.0,
        claim: FaderClaim | None = None,
    ) -> None:
        """send: sends the fader to a position in dB, in one datagram; must return at once.
        clock: real time, unless the fader is a simulated one with a time of its own.
        claim: keeps other runs off the fader while the line is open.
        """
        self.clock = clock
        self.stranger = ""
        """Who else has spoken at the feedback address; such reports count for nothing."""
        self._send = send
        self._guard = FaderGuard(rounding_db)
        self._lock = threading.Lock()
        self._revocations = 0
        self._claim = claim

    def confirm(self, position_db: float) -> float:
        """Notes a report of the workstation; returns when it arrived."""
        with self._lock:
            now_s = self.clock()
            self._guard.confirm(now_s, position_db)
            return now_s

    def open(self) -> str:
        """Lets positions through from the next report on; returns why not, or nothing."""
        with self._lock:
            if self._revocations:
                return "Not armed: it was disarmed in the same moment; arm it again."
            if self._claim and not self._claim.take():
                return "Not armed: another sidecar on this machine has this fader; disarm it there first."
            self._guard.open()
            return ""

    def close(self) -> None:
        """Lets nothing through from now on."""
        with self._lock:
            self._guard.close()
            if self._claim:
                self._claim.release()

    def revoke(self) -> None:
        """As :meth:`close`, and :meth:`open` is refused until :meth:`settle` was called as often.

        For a disarm that is still waiting behind other commands: an arm that was asked for before it must
        not open the line again.
        """
        with self._lock:
            self._revocations += 1
            self._guard.close()

    def settle(self) -> None:
        """One revocation has arrived where arming is decided."""
        with self._lock:
            self._revocations = max(0, self._revocations - 1)

    def advance(self, target_db: float | None, *, may_rise: bool) -> float | None:
        """Sends the next position on the way to *target_db*, where there is one; returns it."""
        with self._lock:
            position_db = self._guard.next_position(self.clock(), target_db, may_rise=may_rise)
            if position_db is not None:
                self._send(position_db)
            return position_db
