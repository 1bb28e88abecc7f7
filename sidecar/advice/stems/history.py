"""The metered blocks of several stems, and the loudness of their mix under any other fader gains.

The energy of a mix is a quadratic form: with C the mean products of the K-weighted stems and a their
amplitudes, a block of the mix has the energy aᵀ C a. K-weighting is linear, so this is exact whatever
the stems share: a room, a send, a bleeding microphone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sidecar.errors import SignalError
from sidecar.loudness.gating import ABSOLUTE_GATE, GATING_STEPS, RELATIVE_GATE, gating_powers
from sidecar.loudness.series import Floats
from sidecar.model.readings import BLOCK_S, SILENCE
from sidecar.model.units import decibel, loudness

Bools = NDArray[np.bool_]

_ROUGH_DB = 1e-3
"""Faders that differ by less than this stand together: gains are kept in single precision."""

_UNMEASURED = 1e12
"""Represents a peak that was not measured: finite, so that a closed fader silences it."""

_SILENT = 1e-12
"""Mean squares under it, 120 dB below full scale, have no level worth a comparison."""

_MOST_TRIM_DB = 60.0

_HIGHEST_PEAK = 1e5
"""Linear; above it a bound only says that a peak was not measured."""


@dataclass(frozen=True, slots=True)
class Gated:
    """A mix behind the gates."""

    lufs: float
    powers: Floats
    """Its gating blocks in order of time, mean squares, shape (m,)."""
    weights: Floats
    """Share of each 100 ms block in what passed the gates, shape (n,): sums to 1, or to 0 in silence."""


@dataclass(frozen=True, slots=True)
class PeakBound:
    """The highest true peak that a mix can reach."""

    dbtp: float
    is_exact: bool
    """True where this is the peak itself, not a bound: all faders moved together since it was measured."""


class StemHistory:
    """Every 100 ms of the stems, single precision: about 0.7 kB a block for 16 stems, 24 MB an hour."""

    def __init__(self, stems: int) -> None:
        self.stems = stems
        self._rows, self._columns = np.triu_indices(stems)
        self._doubled = np.where(self._rows == self._columns, 1.0, 2.0)
        self._products = _Table(len(self._rows))
        """Mean products at faders of 0 dB, upper triangle; 0 where a fader was closed."""
        self._gains_db = _Table(stems)
        self._peaks = _Table(stems + 1)
        """True peaks as metered, linear: the stems, then the mix."""
        self._starts: list[int] = []
        """First blocks after a splice."""
        self.was_open = np.zeros(stems, dtype=np.bool_)
        """Stems whose fader was ever open."""
        self.faders_db = np.zeros(stems)
        """Positions of the faders."""
        self.last_open_db = np.zeros(stems)
        """Last position of each fader while it was open, dB."""
        self._was_closed = False
        self._mixed = _Table(1)
        """Mean squares of the mix as metered."""
        self._heard_blocks = np.zeros(stems, dtype=np.int64)

    def __len__(self) -> int:
        return len(self._gains_db)

    @property
    def heard_s(self) -> Floats:
        """Seconds of each stem, as metered, above the absolute gate."""
        return np.asarray(BLOCK_S * self._heard_blocks, dtype=np.float64)

    def splice(self) -> None:
        """The next block does not follow the last one."""
        self._starts.append(len(self))

    def push(
        self,
        covariance: ArrayLike,
        gains_db: ArrayLike,
        stem_peaks_dbtp: ArrayLike | None,
        mix_peak_dbtp: ArrayLike | None,
    ) -> None:
        """Adds blocks; shapes as :meth:`sidecar.advice.stems.advisor.StemAdvisor.push` has them."""
        products = self._checked(covariance)
        count = len(products)
        gains = _levels("fader gains", gains_db, (count, self.stems))
        peaks = np.full((count, self.stems + 1), _UNMEASURED)
        if stem_peaks_dbtp is not None:
            peaks[:, :-1] = _amplitude(_levels("stem peaks", stem_peaks_dbtp, (count, self.stems)))
        if mix_peak_dbtp is not None:
            mix_peaks = np.asarray(mix_peak_dbtp)[..., None]
            peaks[:, -1:] = _amplitude(_levels("mix peaks", mix_peaks, (count, 1)))
        if count == 0:
            return
        is_open = gains > SILENCE
        undone = np.where(is_open, _amplitude(-np.where(is_open, gains, 0.0)), 0.0)
        self._products.append(
            products[:, self._rows, self._columns] * undone[:, self._rows] * undone[:, self._columns]
        )
        self._gains_db.append(gains)
        self._peaks.append(peaks)
        self._mixed.append(np.maximum(products.sum(axis=(1, 2)), 0.0)[:, None])
        own = np.diagonal(products, axis1=1, axis2=2)
        self._heard_blocks += np.count_nonzero(own > ABSOLUTE_GATE, axis=0)
        self.was_open |= is_open.any(axis=0)
        self._was_closed |= not is_open.all()
        self.faders_db = gains[-1].copy()
        latest = count - 1 - np.argmax(is_open[::-1], axis=0)
        opened = is_open.any(axis=0)
        self.last_open_db[opened] = gains[latest, np.arange(self.stems)][opened]

    def stood_at(self, stem: int, position_db: float) -> None:
        """The fader of *stem*, taken to be at 0 dB so far, was at *position_db* all the time."""
        undone = 10.0 ** (-position_db / 20.0)
        self._products.values[:] *= np.where(self._rows == stem, undone, 1.0) * np.where(
            self._columns == stem, undone, 1.0
        ).astype(np.float32)
        self._gains_db.values[:, stem] += position_db
        self.faders_db[stem] += position_db
        self.last_open_db[stem] += position_db

    def energies(self, gains_db: Floats) -> Floats:
        """Mean squares of the mix under *gains_db*, shape (n,)."""
        amplitude = _amplitude(gains_db)
        weights = self._doubled * amplitude[self._rows] * amplitude[self._columns]
        # not BLAS: its threads cost tens of milliseconds here whenever the processor is shared
        mixed = np.einsum("bp,p->b", self._products.values, weights.astype(np.float32))
        return np.asarray(np.maximum(mixed, 0.0), dtype=np.float64)

    def trims_db(self) -> Floats:
        """How much louder each block of the mix would be at the present fader positions, dB, shape (n,).

        Held to ±60 dB, and 0 where either is silent.
        """
        metered, asked = self._mixed.values[:, 0].astype(np.float64), self.energies(self.faders_db)
        sounds = (metered > _SILENT) & (asked > _SILENT)
        ratio = np.where(sounds, asked, 1.0) / np.where(sounds, metered, 1.0)
        return np.asarray(np.clip(10.0 * np.log10(ratio), -_MOST_TRIM_DB, _MOST_TRIM_DB))

    def gated(self, gains_db: Floats) -> Gated:
        """The mix under *gains_db* behind the gates (BS.1770-5 Annex 1, equations 3 to 7)."""
        energies = self.energies(gains_db)
        usable = self._usable(gains_db)
        powers = gating_powers(energies)
        kept = usable & (powers > ABSOLUTE_GATE)
        if kept.any():
            kept &= powers > RELATIVE_GATE * powers[kept].mean()
        count = int(np.count_nonzero(kept))
        if count == 0:
            return Gated(SILENCE, powers[usable], np.zeros(len(energies)))
        weights = np.convolve(kept, np.ones(GATING_STEPS)) / (GATING_STEPS * count)
        return Gated(loudness(float(powers[kept].mean())), powers[usable], weights)

    def mean_products(self, weights: Floats) -> Floats:
        """Mean products at faders of 0 dB, blocks weighted by *weights*, shape (stems, stems)."""
        means = np.empty((self.stems, self.stems))
        means[self._rows, self._columns] = np.einsum(
            "b,bp->p", weights.astype(np.float32), self._products.values
        )
        means[self._columns, self._rows] = means[self._rows, self._columns]
        return means

    def peak_bound(self, gains_db: Floats) -> PeakBound:
        """What no true peak of the mix under *gains_db* can pass; infinite where peaks were not measured.

        With M the peak of the mix as metered, p those of the stems and r the changes of amplitude, the mix
        is Σ r·s = c·Σ s + Σ (r - c)·s for any c, so its peak is at most c·M + Σ |r - c|·p. The sum of all
        stem peaks is the case c = 0; faders that moved together by c give c·M itself.
        """
        if len(self) == 0:
            return PeakBound(SILENCE, True)
        in_force, peaks = self._gains_db.values, self._peaks.values
        mix, stems = peaks[:, -1], peaks[:, :-1]
        is_open = in_force > SILENCE
        asked = np.where(self.was_open, gains_db, SILENCE).astype(np.float32)
        ratio = np.where(is_open, _amplitude(asked - np.where(is_open, in_force, 0.0)), 0.0)
        lowest, highest = _open_range(ratio, is_open)
        together = highest - lowest <= highest * (_ROUGH_DB * math.log(10.0) / 20.0)
        middle = np.partition(ratio, self.stems // 2, axis=1)[:, self.stems // 2]
        bound = np.einsum("ij,ij->i", ratio, stems)
        for share in (middle, lowest, highest):
            spread = np.einsum("ij,ij->i", np.abs(ratio - share[:, None]), np.where(is_open, stems, 0.0))
            bound = np.minimum(bound, share * mix + spread)
        is_exact = together & (mix < _UNMEASURED)
        bound = np.where(is_exact, highest * mix, bound)
        worst = int(np.argmax(bound))
        level = float(bound[worst])
        return PeakBound(decibel(level) if level < _HIGHEST_PEAK else math.inf, bool(is_exact[worst]))

    def _usable(self, gains_db: Floats) -> Bools:
        """Gating blocks that are of one piece and in which every stem with a gain was measured."""
        count = max(len(self) - GATING_STEPS + 1, 0)
        usable = np.ones(count, dtype=np.bool_)
        for start in self._starts:
            usable[max(start - GATING_STEPS + 1, 0) : start] = False
        if self._was_closed:
            asked = self.was_open & (gains_db > SILENCE)
            unknown = np.any(np.isneginf(self._gains_db.values[:, asked]), axis=1)
            usable &= gating_powers(unknown.astype(np.float64)) == 0.0
        return usable

    def _checked(self, covariance: ArrayLike) -> Floats:
        products = np.asarray(covariance, dtype=np.float64)
        if products.ndim == 2:
            products = products[None]
        if products.ndim != 3 or products.shape[1:] != (self.stems, self.stems):
            raise SignalError(
                f"Mean products of {self.stems} stems must have the shape (n, {self.stems}, {self.stems}), "
                f"not {products.shape}: give one row and one column a stem."
            )
        if not np.isfinite(products).all() or (np.diagonal(products, axis1=1, axis2=2) < 0.0).any():
            raise SignalError(
                "A mean product of the stems is no number, or an energy is negative. Give finite numbers."
            )
        return products


class _Table:
    """Rows of single precision numbers that grow at O(1) amortised cost."""

    def __init__(self, width: int) -> None:
        self._room = np.empty((64, width), dtype=np.float32)
        self._size = 0

    def append(self, rows: Floats) -> None:
        end = self._size + len(rows)
        if end > len(self._room):
            room = np.empty((max(end, len(self._room) * 3 // 2), self._room.shape[1]), dtype=np.float32)
            room[: self._size] = self.values
            self._room = room
        self._room[self._size : end] = rows
        self._size = end

    @property
    def values(self) -> NDArray[np.float32]:
        return self._room[: self._size]

    def __len__(self) -> int:
        return self._size


def _open_range(
    ratio: NDArray[np.float32], is_open: Bools
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Smallest and largest change of an open fader in each block; 0 and 0 where none is open."""
    highest = ratio.max(axis=1)
    return np.minimum(np.where(is_open, ratio, np.inf).min(axis=1), highest), highest


def _levels(name: str, values: ArrayLike, shape: tuple[int, int]) -> Floats:
    """*values* in dB in *shape*; one row serves for all blocks."""
    given = np.asarray(values, dtype=np.float64)
    if given.shape not in {shape, shape[1:]}:
        raise SignalError(f"The {name} have the shape {given.shape}; {shape} is needed, or one row of it.")
    if not np.all(given < math.inf):  # also false for NaN
        raise SignalError(
            f"One of the {name} is infinite or no number. Give finite dB, or minus infinity for silence."
        )
    return np.broadcast_to(given, shape)


def _amplitude(level_db: NDArray[np.floating]) -> Floats:
    return np.asarray(10.0 ** (level_db / 20.0))
