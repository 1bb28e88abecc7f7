"""From how probable speech is in each 100 ms block to whether there is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

# Chosen on the tuning half of tests/benchmarks/dialogue_on_recordings.py.
_ON, _OFF = 0.5, 0.35
"""Speech begins at the one probability and ends under the other."""
_BEFORE, _AFTER = 1, 1
"""Blocks that count too before and after what was found: words begin and end softly."""


class SpeechDecision:
    """Which blocks have speech; the answer lags behind by :data:`_BEFORE` blocks."""

    def __init__(self) -> None:
        self._is_on = False
        self._found: list[bool] = [False] * _AFTER
        """What was found in the last blocks, before it is widened: what the next answers depend on."""

    def push(self, probability: Floats) -> Flags:
        """Returns the blocks that can be answered after those with *probability*, shape (n,)."""
        for value in probability:
            self._is_on = value >= (_OFF if self._is_on else _ON)
            self._found.append(self._is_on)
        return self._answers()

    def finish(self) -> Flags:
        """Returns the blocks that are left; no more follow."""
        self._found += [False] * _BEFORE
        return self._answers()

    def _answers(self) -> Flags:
        reach = _AFTER + 1 + _BEFORE
        count = max(0, len(self._found) - reach + 1)
        answers = [any(self._found[block : block + reach]) for block in range(count)]
        self._found = self._found[count:]
        return np.array(answers, np.bool_)
