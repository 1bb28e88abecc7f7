"""A row of numbers that grows as the programme plays."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Series:
    """Float64 numbers, appended at O(1) amortised cost and read as one array without copying."""

    def __init__(self) -> None:
        self._room: Floats = np.empty(1024)
        self._size = 0

    def append(self, values: Floats) -> None:
        """Adds *values*, shape (n,), at the end."""
        end = self._size + len(values)
        if end > len(self._room):
            room = np.empty(max(end, 2 * len(self._room)))
            room[: self._size] = self.values
            self._room = room
        self._room[self._size : end] = values
        self._size = end

    @property
    def values(self) -> Floats:
        """All numbers so far, shape (n,): a view, valid until the next append."""
        return self._room[: self._size]

    def __len__(self) -> int:
        return self._size
