"""When an armed sidecar makes the advised move without being asked."""

from __future__ import annotations

import math

from sidecar.model.readings import Move

LOOK_S = 30.0
"""Ours, after Tech 3343 §3.2: correct by little, then wait until the integrated loudness has reacted."""


class AutoFollow:
    """Makes the moves that the steady advice shows, first LOOK_S after the fader was armed: by then the
    operator has had time to read the caution and turn the monitors down. Between two moves it waits too.

    Pure: the time is the programme's, so that neither pauses nor a stalled input count.
    """

    def __init__(self) -> None:
        self._looked_s = 0.0
        self._wait_s = LOOK_S

    def target_db(
        self, seconds: float, move: Move, fader_db: float, *, is_armed: bool, look_s: float = LOOK_S
    ) -> float | None:
        """Where to ask the fader to go now, dB; None when it is not time or there is nothing to do.

        seconds: programme measured since the reset. fader_db: the fader position.
        look_s: how long to wait between looks; the first one after arming comes no sooner than LOOK_S.
        """
        if not is_armed or seconds < self._looked_s:
            self._looked_s, self._wait_s = seconds, LOOK_S
        if seconds - self._looked_s < self._wait_s or move.gain_db == 0.0 or not math.isfinite(fader_db):
            return None
        self._looked_s, self._wait_s = seconds, look_s
        return fader_db + move.gain_db
