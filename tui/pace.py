"""How often a screen is drawn: as often as its terminal takes it. Pure: the time is an argument.

After a drawing the terminal is asked where its cursor is (ECMA-48 §8.3.35, DSR with parameter 6). It answers
in the order of what it is sent, so the answer says that the drawing has arrived, whatever lies between.
"""

from __future__ import annotations

from collections import deque

USUAL_HZ = 10
"""Drawings a second: Tech 3341 §2.2 asks for ten at least of momentary and short-term loudness."""
RATES_HZ = (10, 4, 1)
"""What the rate falls to on a slow line. Ours."""

_LAST = 5
"""Drawings that decide about the rate, by their median: one late answer is no slow line."""
_FALL_PERIODS, _RISE_PERIODS = 2.0, 1.0
"""Of the present rate and of the faster one: what a drawing takes to arrive. Ours; between them it stays."""
_RISE_AFTER = 20
"""Drawings in time for the faster rate, one after another, before it returns."""
_FIRST_ANSWER_S = 1.0
"""A terminal that has not answered by then at the start does not know the question."""
_LATE_ANSWER_S = 10.0
"""A later answer that has not come by then is lost: a whole screen at 2 KB/s takes as long."""


class Pace:
    """Decides at each tick whether to draw, from the time that earlier drawings took to arrive."""

    def __init__(self, most_hz: int = USUAL_HZ) -> None:
        """most_hz: ticks a second, and drawings a second on a fast line."""
        self.most_hz = most_hz
        self._rates = (most_hz, *(rate for rate in RATES_HZ if rate < most_hz))
        self._step = 0
        self._ticks = 0
        self._is_hurried = False
        self._asked_s: float | None = None
        self._is_known = False
        self._delays_s: deque[float] = deque(maxlen=_LAST)
        self._in_time = 0

    @property
    def rate_hz(self) -> int:
        """Drawings a second at present."""
        return self._rates[self._step]

    @property
    def is_slow(self) -> bool:
        """Whether the line does not take what was asked for."""
        return self._step > 0

    @property
    def is_waiting(self) -> bool:
        """Whether a question has not been answered."""
        return self._asked_s is not None

    @property
    def is_hurried(self) -> bool:
        """Whether a key or a click waits for the drawing that shows what it did."""
        return self._is_hurried

    @property
    def answers(self) -> bool:
        """Whether this terminal has answered, and not too long ago."""
        return self._is_known

    def hurry(self) -> None:
        """Makes the next drawing due at the next tick: a key is answered at once, not at the next second."""
        self._is_hurried = True

    def is_due(self, now_s: float) -> bool:
        """Counts a tick; returns whether to draw, which it never says while a drawing is under way."""
        self._ticks += 1
        if self._asked_s is not None:
            patience_s = _LATE_ANSWER_S if self._is_known else _FIRST_ANSWER_S
            if now_s - self._asked_s < patience_s:
                return False
            if self._is_known:  # this one is lost, others need not be
                self._asked_s, self._is_known = None, False
        if self._ticks < self.most_hz // self.rate_hz and not self._is_hurried:
            return False
        self._ticks, self._is_hurried = 0, False
        return True

    def asked(self, now_s: float) -> None:
        """Records that the terminal was asked, after a drawing."""
        self._asked_s = now_s

    def answered(self, now_s: float) -> None:
        """Records its answer, and falls to a slower rate or rises to a faster one."""
        if self._asked_s is None:
            return
        delay_s, self._asked_s, self._is_known = now_s - self._asked_s, None, True
        self._delays_s.append(delay_s)
        self._fall()
        self._rise(delay_s)

    def _fall(self) -> None:
        usual_s = sorted(self._delays_s)[(len(self._delays_s) - 1) // 2]
        if len(self._delays_s) < _LAST and usual_s < 1.0:
            return
        while self._step < len(self._rates) - 1 and usual_s * self.rate_hz > _FALL_PERIODS:
            self._step += 1
            self._in_time = 0

    def _rise(self, delay_s: float) -> None:
        if self._step == 0:
            return
        is_in_time = delay_s * self._rates[self._step - 1] < _RISE_PERIODS
        self._in_time = self._in_time + 1 if is_in_time else 0
        if self._in_time >= min(_RISE_AFTER, 5 * self.rate_hz):
            self._step -= 1
            self._in_time = 0
            self._delays_s.clear()
