"""Gated loudness as an exact function of gain.

A gain does more than shift a gated loudness: it moves blocks across the absolute gate, and a gain on
only part of a programme moves the relative gate under all of it. So gating blocks are kept sorted, with
running sums, and both gates are set anew for every gain that is tried.

Source of the gates: ITU-R BS.1770-5 Annex 1, equations 2 to 7.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.model.units import LOUDNESS_OFFSET_DB, mean_square

Floats = NDArray[np.float64]

GATING_STEPS = 4
"""100 ms steps in one gating block: 400 ms with 75 % overlap (BS.1770-5 Annex 1)."""

ABSOLUTE_GATE = mean_square(-70.0)
"""Mean square that a gating block must exceed (BS.1770-5 Annex 1, equation 6)."""

RELATIVE_GATE = 0.1
"""The relative gate as a share of the mean power over the absolute gate: 10 LU under it (equation 7)."""

_TAIL_LENGTH = 4096
"""Blocks that are sorted on their own before they are merged: keeps a look cheap on a long history."""

_MOST_PENDING = 1024
"""Blocks that may wait to be sorted in: some programmes are never evaluated, and evaluating others must not
sort hours of blocks at once."""

_MOST_APART = 36_000
"""An hour of blocks is kept one by one; a longer programme in grains, so that a look at it costs no more."""
_GRAIN_DB = 0.001
_LEAST = 1e-30


_CLASS_LU = 0.5
"""Level classes, fine enough to forecast with; what is known exactly is gated exactly."""
_IN_ONE_THREAD = 2**18
"""Multiplications up to which OpenBLAS starts no thread for a product of matrices (its interface/gemm.c, from
memory): to wait for one takes longer than the product itself, see tests/benchmarks/adviser_call.py."""
_SILENT = mean_square(-110.0)
"""What is softer counts in this class: no fader brings it over the absolute gate."""


def gating_powers(energies: Floats) -> Floats:
    """Mean squares of the gating blocks of one unbroken run of 100 ms energies.

    energies: shape (n,). Returns shape (max(n - 3, 0),); an incomplete block is dropped
    (Tech 3341 §2.3).
    """
    count = max(len(energies) - GATING_STEPS + 1, 0)
    runs = [energies[step : step + count] for step in range(GATING_STEPS)]
    return np.asarray(sum(runs) / GATING_STEPS, dtype=np.float64)


def loudness_of(powers: Floats) -> Floats:
    """LUFS of mean squares, any shape; ``-inf`` for 0."""
    with np.errstate(divide="ignore"):
        return np.asarray(LOUDNESS_OFFSET_DB + 10.0 * np.log10(powers))


class _Sorted:
    """Ascending powers, each with the number of blocks that have it, and running sums."""

    def __init__(self, powers: Floats, counts: Floats | None = None) -> None:
        order = np.argsort(powers)
        self.powers = powers[order]
        self.counts = np.ones(len(powers)) if counts is None else counts[order]
        self._counted = np.concatenate(([0.0], np.cumsum(self.counts)))
        self._below = np.concatenate(([0.0], np.cumsum(self.powers * self.counts)))

    def above(self, threshold: Floats) -> tuple[Floats, Floats]:
        first = np.searchsorted(self.powers, threshold, side="right")
        return self._counted[-1] - self._counted[first], self._below[-1] - self._below[first]

    def merged(self, other: _Sorted) -> _Sorted:
        """Both; those that lie within a thousandth of a decibel as one of their mean, once there are many."""
        powers = np.concatenate([self.powers, other.powers])
        counts = np.concatenate([self.counts, other.counts])
        if len(powers) <= _MOST_APART:
            return _Sorted(powers, counts)
        level = np.floor(10.0 * np.log10(np.maximum(powers, _LEAST)) / _GRAIN_DB)
        _, group = np.unique(level, return_inverse=True)
        totals = np.bincount(group, powers * counts)
        numbers = np.bincount(group, counts).astype(np.float64)
        return _Sorted(totals / numbers, numbers)


class Powers:
    """The gating blocks of some programme, in no order: what the gates need to know."""

    def __init__(self, powers: Floats | None = None) -> None:
        self._body = _Sorted(np.empty(0) if powers is None else powers)
        self._tail = _Sorted(np.empty(0))
        self._pending: list[Floats] = []
        self._waiting = 0

    @property
    def size(self) -> int:
        """Powers that are kept apart: as many as blocks, until an hour of them is exceeded."""
        return len(self._body.powers) + len(self._tail.powers) + self._waiting

    def append(self, powers: Floats) -> None:
        """Adds gating blocks, mean squares, shape (n,)."""
        self._pending.append(powers)
        self._waiting += len(powers)
        if self._waiting > _MOST_PENDING:
            self._settle()

    def above(self, threshold: Floats) -> tuple[Floats, Floats]:
        """Number of blocks above each threshold and the sum of their mean squares.

        threshold: mean squares, any shape; both results have that shape.
        """
        self._settle()
        counts, totals = self._body.above(threshold)
        tail_counts, tail_totals = self._tail.above(threshold)
        return counts + tail_counts, totals + tail_totals

    def _settle(self) -> None:
        if not self._pending:
            return
        self._tail = _Sorted(np.concatenate([self._tail.powers, *self._pending]))
        self._pending.clear()
        self._waiting = 0
        if len(self._tail.powers) > _TAIL_LENGTH:
            self._body = self._body.merged(self._tail)
            self._tail = _Sorted(np.empty(0))


class LevelClasses:
    """The gating blocks of several programmes at once, counted in level classes; between the edges of a
    class its blocks are taken to lie evenly."""

    def __init__(self, above: Floats, lowest_lufs: float) -> None:
        """above: blocks above each edge and their summed mean squares, shape (programmes, edges, 2).
        lowest_lufs: the lowest edge, which all blocks lie above; none lies above the highest."""
        self._above, self._lowest_lufs = above, lowest_lufs

    @classmethod
    def from_powers(cls, powers: Floats) -> LevelClasses:
        """powers: gating blocks, shape (programmes, blocks); together those of a row count as one block."""
        rows, length = powers.shape
        level = np.floor(loudness_of(np.maximum(powers, _SILENT)) / _CLASS_LU)
        lowest = level.min()
        place, classes = (level - lowest).astype(np.intp), int(level.max() - lowest) + 1
        place = (place + classes * np.arange(rows)[:, np.newaxis]).ravel()
        above = np.zeros((rows, classes + 1, 2))
        for column, weights in enumerate((None, powers.ravel())):
            counted = np.bincount(place, weights, rows * classes).reshape(rows, classes)
            np.cumsum(counted[:, ::-1] / length, axis=1, out=above[:, -2::-1, column])
        return cls(above, lowest * _CLASS_LU)

    def __len__(self) -> int:
        return len(self._above)

    def mixed(self, weights: Floats) -> LevelClasses:
        """Programmes made of these. weights: blocks of each, shape (programmes made, programmes)."""
        _, *shape = self._above.shape
        above = self._above.reshape(len(self), -1)
        rows = max(_IN_ONE_THREAD // above.size, 2)
        parts = [weights[row : row + rows] @ above for row in range(0, len(weights), rows)]
        return LevelClasses(np.concatenate(parts).reshape(-1, *shape), self._lowest_lufs)

    def picked(self, programmes: NDArray[np.intp]) -> LevelClasses:
        """Some of these programmes, as often as they are named."""
        return LevelClasses(self._above[programmes], self._lowest_lufs)

    def above(self, threshold: Floats) -> tuple[Floats, Floats]:
        """As :meth:`Powers.above`; threshold: shape (programmes, n), or (1, n) for the same in all."""
        edges = self._above.shape[1]
        place = np.clip((loudness_of(threshold) - self._lowest_lufs) / _CLASS_LU, 0.0, edges - 1)
        edge = np.minimum(place.astype(np.intp), edges - 2)
        part = (place - edge)[..., np.newaxis]
        edge = edge + edges * np.arange(len(self))[:, np.newaxis]
        above = self._above.reshape(-1, 2)
        found = above.take(edge, axis=0) * (1.0 - part) + above.take(edge + 1, axis=0) * part
        return found[..., 0], found[..., 1]


@dataclass(frozen=True, slots=True)
class Part:
    """Part of a programme under a gain."""

    powers: Powers | LevelClasses
    gain_db: Floats | float = 0.0
    """One gain, or one for each trial; one row of trials for each programme of classes."""
    weight: float = 1.0
    """How often each block counts: a part that represents a longer one has a weight above 1."""

    def above(self, threshold: Floats) -> tuple[Floats, Floats]:
        gain = 10.0 ** (np.asarray(self.gain_db) / 10.0)
        counts, totals = self.powers.above(threshold / gain)
        return self.weight * counts, self.weight * gain * totals


def gated_loudness(parts: Sequence[Part]) -> Floats:
    """Integrated loudness of a programme made of *parts*, LUFS, one for each trial gain.

    The gains of the parts must broadcast to one shape, which the result has; ``-inf`` where no block
    passes the gates.
    """
    counts, totals = _above(parts, np.asarray(ABSOLUTE_GATE))
    gate = np.maximum(RELATIVE_GATE * _mean(counts, totals), ABSOLUTE_GATE)
    return loudness_of(_mean(*_above(parts, gate)))


def _above(parts: Sequence[Part], threshold: Floats) -> tuple[Floats, Floats]:
    found = [part.above(threshold) for part in parts]
    return np.asarray(sum(count for count, _ in found)), np.asarray(sum(total for _, total in found))


def _mean(counts: Floats, totals: Floats) -> Floats:
    return np.divide(totals, counts, out=np.zeros_like(totals), where=counts > 0.0)
