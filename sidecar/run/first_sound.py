"""Where a programme begins: what comes before its first sound is held back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sidecar.alerts.rules import SILENCE_LUFS
from sidecar.model.readings import BLOCK_S, FloatArray
from sidecar.model.units import loudness

if TYPE_CHECKING:
    from sidecar.run.metering import Metering


def is_sound(energies: FloatArray) -> bool:
    """Whether one of these 100 ms blocks, mean squares, is above the absolute gate (BS.1770-5 Annex 1)."""
    return bool(energies.size) and loudness(float(energies.max())) > SILENCE_LUFS


class FirstSound:
    """Holds audio back until the first 100 ms that are above the absolute gate; it is used up then.

    The gate of BS.1770-5 is for blocks of 400 ms; the first 100 ms of such a block are found here, so that
    nothing of the first sound is missing.
    """

    def __init__(self, meter: Metering) -> None:
        """meter: a new one, for the audio that comes; its readings are not used."""
        self._meter = meter
        self._held: list[FloatArray] = []
        """The frames since the last whole block of the meter, and those of the blocks that get whole now."""
        self._first_frame = self._blocks = 0

    def push_frames(self, frames: FloatArray) -> FloatArray:
        """Returns the frames from the first sound on, shape (n, channels); n is 0 while there is none."""
        self._meter.push(frames)
        energies = self._meter.take_blocks().mix.energy
        self._held.append(frames)
        loud = next((place for place, energy in enumerate(energies) if is_sound(energy[None])), None)
        self._blocks += energies.size if loud is None else loud
        held = np.concatenate(self._held)[self._frame(self._blocks) - self._first_frame :]
        self._held, self._first_frame = [held], self._frame(self._blocks)
        return held if loud is not None else frames[:0]

    def _frame(self, block: int) -> int:
        return round(block * BLOCK_S * self._meter.rate_hz)
