"""The blocks metered so far, and the material without its fader moves."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from sidecar.errors import SignalError
from sidecar.loudness.gating import ABSOLUTE_GATE, GATING_STEPS, Powers, gating_powers
from sidecar.loudness.series import Floats, Latest, Singles, Steps
from sidecar.loudness.statistics import SHORT_TERM_STEPS, loudness_range, windowed
from sidecar.model.readings import BLOCK_S, SILENCE

ENOUGH_S = 3.0
"""Programme above the gate before anything is advised: one short-term window (Tech 3341 §2.2)."""

ENOUGH_GATES = round(ENOUGH_S / BLOCK_S)
"""The same in gating blocks."""

_SILENT_BLOCKS = 50
"""Ours: longer than the pauses of most programmes."""

_LATEST = 4 * 36_000
"""Gating blocks, four hours of them: earlier ones say little about the rest."""

_LONGEST_RUN = 18_000
"""Half an hour is more than is needed to find the place in an earlier pass."""

Pair = tuple[Floats, Floats]


class History:
    """Every 100 ms of the pass, as metered and brought back to a fader at 0 dB.

    With the fader all the way down (``-inf`` dB) the material cannot be measured: such blocks count
    as metered and are unknown (NaN) in the material.
    """

    def __init__(self) -> None:
        self._energies, self._gains_db = Singles(), Steps()
        self.cuts: list[int] = []
        """The blocks before which the pass was cut."""
        self._latest: Pair = (np.empty(0), np.empty(0))
        """Blocks that the next gating block takes in: mean squares as metered, and of the material."""
        self.metered = Powers()
        """Gating blocks as metered."""
        self.known = Powers()
        """Gating blocks of the material at a fader of 0 dB, where all four steps are known."""
        self.peak_dbtp = SILENCE
        """Highest true peak of the material at a fader of 0 dB."""
        self.fader_db = 0.0
        """Present position of the fader, dB."""
        self.began_db = 0.0
        """Its position once enough programme was measured; before, it may still have been opening."""
        self.last_open_db: float | None = None
        """Its last position while it was open; None before."""
        self._in_time = Latest(_LATEST)
        self._programme_gates = 0

    @property
    def is_enough(self) -> bool:
        """True once enough known programme was above the absolute gate as it was metered. (Raised by a
        fader, the noise of a silent input would look like programme; it is not.)"""
        return self._programme_gates >= ENOUGH_GATES

    @property
    def block_count(self) -> int:
        """100 ms blocks metered."""
        return len(self._energies)

    @property
    def energies(self) -> Floats:
        """100 ms energies as metered, shape (blocks,)."""
        return self._energies.part(0, self.block_count)

    @property
    def cut_free_run(self) -> Floats:
        """100 ms energies of the material since the last cut, the latest half hour at most."""
        return self._material(max(self._last_cut, self.block_count - _LONGEST_RUN), self.block_count)

    @property
    def is_silent(self) -> bool:
        """True once the last five seconds were all under the absolute gate as they were metered."""
        latest = self._energies.part(max(self.block_count - _SILENT_BLOCKS, 0), self.block_count)
        return len(latest) == _SILENT_BLOCKS and bool(np.all(latest <= ABSOLUTE_GATE))

    @property
    def known_in_time(self) -> Floats:
        """The latest gating blocks of :attr:`known` in order of time: a view, valid until
        the next push."""
        return self._in_time.values

    def splice(self) -> None:
        """The next block does not follow the last one: no gating block spans the cut."""
        self._latest = (np.empty(0), np.empty(0))
        self.cuts.append(self.block_count)

    def push(self, energy: ArrayLike, gain_db: ArrayLike, true_peak_dbtp: ArrayLike | None) -> None:
        """Adds 100 ms blocks: scalars, or arrays of one length. Raises SignalError."""
        energies, gains, peaks = _checked(energy, gain_db, true_peak_dbtp)
        if len(energies) == 0:
            return
        opened = gains > SILENCE
        if opened.any():
            self.last_open_db = float(gains[opened][-1])
            self.peak_dbtp = max(self.peak_dbtp, float(np.max(peaks[opened] - gains[opened])))
        self.fader_db = float(gains[-1])
        self._energies.append(energies)
        self._gains_db.append(gains)
        self._gate(energies, _at_zero(energies, gains), gains)

    def _gate(self, energies: Floats, material: Floats, gains: Floats) -> None:
        energies = np.concatenate([self._latest[0], energies])
        material = np.concatenate([self._latest[1], material])
        self._latest = energies[1 - GATING_STEPS :], material[1 - GATING_STEPS :]
        metered, known = gating_powers(energies), gating_powers(material)
        is_known = ~np.isnan(known)
        self.metered.append(metered)
        self.known.append(known[is_known])
        self._in_time.append(known[is_known])
        programme = np.flatnonzero(is_known & (metered > ABSOLUTE_GATE))
        missing = ENOUGH_GATES - self._programme_gates
        if 0 < missing <= len(programme):
            self.began_db = float(gains[programme[missing - 1] - len(metered)])
        self._programme_gates += len(programme)

    def range_widened_lu(self) -> float:
        """Returns the loudness range as metered less that of the same material at one gain, LU."""
        material = self._material(0, self.block_count)
        metered_lu, material_lu = (
            loudness_range(windowed(blocks, SHORT_TERM_STEPS, self.cuts))
            for blocks in (self.energies, np.where(np.isnan(material), 0.0, material))
        )
        return metered_lu - material_lu

    @property
    def _last_cut(self) -> int:
        return self.cuts[-1] if self.cuts else 0

    def _material(self, first: int, past: int) -> Floats:
        return _at_zero(self._energies.part(first, past), self._gains_db.part(first, past))


def _at_zero(energies: Floats, gains_db: Floats) -> Floats:
    """Energies brought back to a fader at 0 dB, NaN where it is closed."""
    factor = 10.0 ** (-gains_db / 10.0)
    factor[gains_db == SILENCE] = math.nan
    return np.asarray(energies * factor)


def _checked(
    energy: ArrayLike, gain_db: ArrayLike, true_peak_dbtp: ArrayLike | None
) -> tuple[Floats, Floats, Floats]:
    energies = np.atleast_1d(np.asarray(energy, dtype=np.float64))
    if energies.ndim != 1:
        raise SignalError(f"Block energies must be one row of numbers, not of shape {energies.shape}.")
    if not np.all(np.isfinite(energies) & (energies >= 0.0)):
        raise SignalError("A block energy is negative or no number. Give mean squares as metered.")
    gains = _row("fader gain", gain_db, energies.shape)
    peaks = _row("true peak", SILENCE if true_peak_dbtp is None else true_peak_dbtp, energies.shape)
    return energies, gains, peaks


def _row(name: str, values: ArrayLike, shape: tuple[int, ...]) -> Floats:
    """*values* in dB as one row; one number serves for all blocks."""
    given = np.asarray(values, dtype=np.float64)
    if given.shape not in {(), shape}:
        raise SignalError(f"{shape[0]} block energies came with {given.size} values of {name}; give as many.")
    if not np.all(given < math.inf):  # also false for NaN
        raise SignalError(
            f"A {name} is infinite or no number. Give finite dB, or minus infinity for silence."
        )
    return np.array(np.broadcast_to(given, shape))
