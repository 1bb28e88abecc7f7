"""A row of numbers that grows as the programme plays."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Singles:
    """Numbers kept in single precision, for those that only advice is made of: a day of programme takes
    half the room. (1e-7 of an energy is less than a millionth of a decibel.)"""

    def __init__(self) -> None:
        self._room: NDArray[np.float32] = np.empty(1024, np.float32)
        self._size = 0

    def append(self, values: Floats) -> None:
        """Adds *values*, shape (n,), at the end."""
        end = self._size + len(values)
        if end > len(self._room):
            room = np.empty(max(end, 2 * len(self._room)), np.float32)
            room[: self._size] = self._room[: self._size]
            self._room = room
        self._room[self._size : end] = values
        self._size = end

    @property
    def values(self) -> Floats:
        """All numbers so far, shape (n,): a copy in double precision, in which sums are to be made."""
        return self._room[: self._size].astype(np.float64)

    def __len__(self) -> int:
        return self._size


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
