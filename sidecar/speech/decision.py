"""From how probable speech is in each 100 ms block to whether there is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

# Chosen on the tuning half of tests/benchmarks/dialogue_on_recordings.py.
_ON, _OFF = 0.9, 0.6
"""Speech begins at the one probability and ends under the other. Lower ones find hardly more of the speech,
and half as much again in music."""


class SpeechDecision:
    """Which blocks have speech. The blocks before and behind a stretch count too: words begin and end softly.
    So the answer lags one block behind."""

    def __init__(self) -> None:
        self._found: list[bool] = []
        """What was found in the last two blocks, or in all so far, before it is widened."""

    def push(self, probability: Floats) -> Flags:
        """Returns the blocks that can be answered after those with *probability*, shape (n,)."""
        answers = []
        for value in probability:
            last = self._found[-1:]
            found = bool(value >= (_OFF if any(last) else _ON))
            if last:
                answers.append(any(self._found) or found)
            self._found = [*last, found]
        return np.array(answers, np.bool_)

    def finish(self) -> Flags:
        """Returns the block that is left; none follows."""
        return np.array([any(self._found)] if self._found else [], np.bool_)
