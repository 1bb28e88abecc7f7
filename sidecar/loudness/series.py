"""Rows of numbers that grow as the programme plays."""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from itertools import repeat

import numpy as np
from numpy.typing import NDArray

from sidecar.model.readings import SILENCE

Floats = NDArray[np.float64]

_CHUNK = 4096
_IN_A_CREST = 10


class Singles:
    """Numbers kept in single precision, for those that only advice is made of: a day of programme takes
    half the room. (1e-7 of an energy is less than a millionth of a decibel.)

    They lie in chunks of one size: a row that moves each time it is full leaves holes in the memory.
    """

    def __init__(self) -> None:
        self._chunks: list[NDArray[np.float32]] = []
        self._size = 0

    def append(self, values: Floats) -> None:
        """Adds *values*, shape (n,), at the end."""
        while len(values):
            place = self._size % _CHUNK
            if place == 0:
                self._chunks.append(np.empty(_CHUNK, np.float32))
            fitting = values[: _CHUNK - place]
            self._chunks[-1][place : place + len(fitting)] = fitting
            self._size += len(fitting)
            values = values[len(fitting) :]

    def part(self, first: int, past: int) -> Floats:
        """The numbers from *first* to before *past*: a copy in double precision, in which sums are to be
        made."""
        taken = np.empty(past - first)
        for start in range(first - first % _CHUNK, past, _CHUNK):
            begin, end = max(first, start), min(past, start + _CHUNK)
            taken[begin - first : end - first] = self._chunks[start // _CHUNK][begin - start : end - start]
        return taken

    def __len__(self) -> int:
        return self._size


class Latest:
    """Numbers of which only the latest are kept."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._room: Floats = np.empty(2 * most)
        self._size = 0

    def append(self, values: Floats) -> None:
        """Adds *values*, shape (n,), at the end."""
        values = values[-self._most :]
        if self._size + len(values) > len(self._room):
            kept = self.values[len(values) :]
            self._room[: len(kept)] = kept
            self._size = len(kept)
        self._room[self._size : self._size + len(values)] = values
        self._size += len(values)

    @property
    def values(self) -> Floats:
        """The latest of all numbers so far, in their order: a view, valid until the next append."""
        return self._room[max(0, self._size - self._most) : self._size]


class Crests:
    """Numbers of which only the highest of each ten is kept, in single precision."""

    def __init__(self) -> None:
        self._crests = array("f")
        self._size = 0

    def append(self, values: Floats) -> None:
        """Adds *values*, shape (n,), at the end."""
        places = np.arange(self._size, self._size + len(values)) // _IN_A_CREST
        self._size += len(values)
        missing = -(-self._size // _IN_A_CREST) - len(self._crests)
        self._crests.extend(repeat(SILENCE, missing))
        if len(values):
            np.maximum.at(np.frombuffer(self._crests, np.float32), places, values.astype(np.float32))

    def part(self, first: int, past: int) -> Floats:
        """For each number from *first* to before *past* the highest of its ten."""
        if past <= first:
            return np.empty(0)
        places = np.arange(first, past) // _IN_A_CREST
        return np.frombuffer(self._crests, np.float32)[places].astype(np.float64)


class Steps:
    """Numbers that mostly stay what they were, kept only where they change. One thread appends; any other
    may look at what is there already."""

    def __init__(self) -> None:
        self._starts, self._values = array("q"), array("d")
        self._size = 0

    def append(self, values: Floats) -> None:
        """Adds *values*, shape (n,), none of them NaN, at the end."""
        before = np.concatenate([self._values[-1:] or [np.nan], values[:-1]])
        changes = np.flatnonzero(values != before[: len(values)])
        self._values.extend(values[changes])  # first: a reader finds no start without its value
        self._starts.extend((self._size + changes).tolist())
        self._size += len(values)

    def repeat(self, value: float, count: int) -> None:
        """Adds *value*, not NaN, so many times at the end."""
        if count and value != (self._values[-1] if self._values else None):
            self._values.append(value)  # first, as above
            self._starts.append(self._size)
        self._size += count

    def __len__(self) -> int:
        return self._size

    def part(self, first: int, past: int) -> Floats:
        """The numbers from *first* to before *past*."""
        if self._starts and first >= self._starts[-1]:
            return np.full(max(past - first, 0), self._values[-1])
        begin = max(bisect_right(self._starts, first) - 1, 0)
        end = max(bisect_left(self._starts, past), begin)
        edges = np.array([*self._starts[begin:end], past])
        edges[:1] = min(first, past)
        return np.repeat(np.array(self._values[begin:end]), np.diff(edges))


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
