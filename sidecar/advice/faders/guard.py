"""The last guard of a workstation's fader: which position may be sent now, if any."""

from __future__ import annotations

import math

from sidecar.advice.faders.tapers import Ramp
from sidecar.model.readings import SILENCE

OLDEST_S = 2.0
"""Longest age of a confirmed position: one that is older no longer gives the fader position."""

LEAD_DB = 0.5
"""Most that a position may lie above the confirmed one while answers to what was sent are on their way."""

SETTLED_S = 1.5
"""So long after the last position was sent the fader is where it says that it is: answers come up to a second
late, so that an earlier one may speak of a place that the fader has left."""


class FaderGuard:
    """Gives the next position of a ramp, never further from the confirmed position than the ramp allows.

    Nothing may be sent while it is closed, before a position was confirmed since it was opened, or once that
    is older than OLDEST_S. Upward the ramp (1 dB/s) begins where the workstation reports the fader
    and never gets ahead of its answers by more than LEAD_DB. So neither a wrong target nor a late call makes
    the fader leap, and a hand that holds it is overruled by no more than that.

    Pure. Times are seconds of one clock that never stops and never steps back.
    """

    def __init__(self, rounding_db: float = 0.0) -> None:
        """rounding_db: a report this near to what was sent last is the same position, rounded."""
        self.is_open = False
        self._rounding_db = rounding_db
        self._confirmed_db: float | None = None
        self._confirmed_s = -math.inf
        self._ramp = Ramp(SILENCE, 0.0)
        self._sent_s = -math.inf
        self._is_lowered = False
        """Whether something else has lowered the fader since a position was sent: it rises again only after
        it has settled, from its position then."""

    def open(self) -> None:
        """Lets positions through from the next confirmed one on; what was confirmed before is forgotten."""
        self.is_open = True
        self._confirmed_db = None
        self._is_lowered = False
        self._ramp = Ramp(SILENCE, 0.0)

    def close(self) -> None:
        """Lets nothing through."""
        self.is_open = False
        self._confirmed_db = None

    def confirm(self, now_s: float, position_db: float) -> None:
        """Notes where the workstation reports its fader, dB; ``-inf`` for a closed one."""
        is_settled = now_s - self._sent_s > SETTLED_S
        is_first = self._confirmed_db is None
        if not self.is_open or math.isnan(position_db) or (is_first and not is_settled):
            return
        if abs(position_db - self._ramp.position_db) <= self._rounding_db:
            position_db = self._ramp.position_db
        if self._confirmed_db is not None and position_db < min(self._confirmed_db, self._ramp.position_db):
            self._is_lowered = True  # a fader that rises does not go back by itself
        self._confirmed_db, self._confirmed_s = position_db, now_s
        if is_settled:
            self._ramp, self._is_lowered = Ramp(position_db, now_s), False

    def next_position(self, now_s: float, target_db: float | None, *, may_rise: bool = True) -> float | None:
        """The position to send now, dB, or None; it counts as sent.

        Parameters
        ----------
        target_db : where the fader is to go; None to leave it.
        may_rise : False while nothing may leave that could raise the fader.
        """
        confirmed_db, age_s = self._confirmed_db, now_s - self._confirmed_s
        if not self.is_open or confirmed_db is None or not 0.0 <= age_s <= OLDEST_S:
            return None
        sent_db = self._ramp.position_db
        if target_db is None or math.isnan(target_db) or target_db == sent_db:
            self._ramp = Ramp(sent_db, now_s)  # time at rest is no head start
            return None
        ramp = self._ramp.towards(target_db, now_s)
        is_rise = may_rise and not self._is_lowered and target_db > sent_db
        highest_db = confirmed_db + LEAD_DB if is_rise else min(confirmed_db, sent_db)
        position_db = min(ramp.position_db, highest_db)
        is_beyond = position_db < target_db if target_db < sent_db else position_db <= sent_db
        if is_beyond:
            return None
        self._ramp, self._sent_s = Ramp(position_db, now_s), now_s
        return position_db
