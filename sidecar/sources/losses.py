"""Detection of dropped samples that were not reported, from the count of frames against the clock.

Sound systems drop audio without raising a flag (measured: 9 s lost unreported after a stalled
callback), so the count is held against the monotonic clock. Arrivals jitter by tens of milliseconds
and come in bursts, and the device's clock drifts from the computer's; but jitter always comes back,
drift is slow, and a loss is a step that stays.
"""

from __future__ import annotations

import math
from collections import deque
from statistics import median

_WINDOW_S = 1.0
_WINDOWS = 4
_STEP_S = 0.04
_CREEP = 300e-6
"""How fast the usual lateness may rise: crystals are within 100 ppm, so two differ by 200 at most
(common practice, no source); a stream that falls behind faster is losing frames."""


class ClockLoss:
    """Finds steps in how late the frames are; pure, the time is an argument.

    In each second the earliest arrival counts, for only lateness can be added to it. When the
    earliest arrivals of four seconds in a row all come 40 ms later than usual, what lies between is
    lost. So a loss is reported 4 to 5 s after it happened.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._origin: tuple[int, float] | None = None
        self._window = 0
        self._earliest_s = math.inf
        self._recent_s: deque[float] = deque(maxlen=_WINDOWS)
        self._usual_s = math.inf

    def count_lost(self, frames_total: int, now_s: float) -> int:
        """Takes the running frame count and the time it was reached; returns frames newly found lost."""
        if self._origin is None:
            self._origin = (frames_total, now_s)
        first_frame, first_s = self._origin
        late_s = (now_s - first_s) - (frames_total - first_frame) / self._rate_hz
        window = int((now_s - first_s) / _WINDOW_S)
        if window == self._window:
            self._earliest_s = min(self._earliest_s, late_s)
            return 0
        lost = self._close_window(window - self._window)
        self._window, self._earliest_s = window, late_s
        return lost

    def _close_window(self, elapsed: int) -> int:
        self._recent_s.append(self._earliest_s)
        level_s = median(self._recent_s)
        self._usual_s = min(level_s, self._usual_s + _CREEP * _WINDOW_S * elapsed)
        if len(self._recent_s) < _WINDOWS or min(self._recent_s) - self._usual_s < _STEP_S:
            return 0
        lost = round((level_s - self._usual_s) * self._rate_hz)
        self._usual_s = level_s
        return lost
