"""The grid on which a programme is cut into steps of one duration."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

_Ints = NDArray[np.int64]
_Steps = TypeVar("_Steps", int, _Ints)


class Grid:
    """Where steps end, each to the nearest sample, so that they keep time at any sample rate.

    Every tenth step of 10 ms ends where a step of 100 ms does.
    """

    def __init__(self, rate_hz: int, steps_per_second: int, first_step: int = 0) -> None:
        self._rate_hz = rate_hz
        self._per_second = steps_per_second
        self._half = steps_per_second // 2
        self._frames = self.mark(first_step)

    def restart(self) -> None:
        """The next frame begins a step."""
        self._frames = 0

    def mark(self, step: _Steps) -> _Steps:
        """The frame with which a step begins, both counted from 0."""
        return (step * self._rate_hz + self._half) // self._per_second

    def advance(self, frames: int) -> tuple[_Ints, _Ints]:
        """Where steps end in the next *frames* frames, and the frames in each; both of shape (steps,)."""
        before, after = self._frames, self._frames + frames
        self._frames = after
        steps = np.arange(self._step_at(before), self._step_at(after) + 1)
        marks = self.mark(steps)
        return marks[1:] - before, marks[1:] - marks[:-1]

    def _step_at(self, frames: int) -> int:
        """How many steps have ended after so many frames."""
        return ((frames + 1) * self._per_second - self._half - 1) // self._rate_hz
