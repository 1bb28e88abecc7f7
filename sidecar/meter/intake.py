"""What may be measured, and what replaces it where it begins anew."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SignalError
from sidecar.model.readings import HIGHEST_RATE_HZ, LOWEST_RATE_HZ, SILENCE
from sidecar.model.units import LOUDNESS_OFFSET_DB

AnyFrames = NDArray[np.floating | np.signedinteger]
"""Samples as they come: float32 or float64, full scale 1.0; int16 or int32, full scale theirs."""

_GAINS = {
    np.dtype(np.float32): np.float32(1.0),
    np.dtype(np.float64): np.float32(1.0),
    np.dtype(np.int16): np.float32(2.0**-15),
    np.dtype(np.int32): np.float32(2.0**-31),
}


def checked_rate(rate_hz: int) -> int:
    """The rate itself. Raises SignalError for one that cannot be measured."""
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise SignalError(
            f"A sample rate of {rate_hz} Hz cannot be measured; use {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz."
        )
    return rate_hz


def checked_frames(frames: AnyFrames, channels: int, wanted_by: str) -> tuple[AnyFrames, np.float32]:
    """The frames, shape (n, channels), contiguous, and what they are multiplied by for full scale 1.0.

    Raises SignalError for another shape or type.
    """
    frames = np.asarray(frames)
    if frames.ndim != 2 or frames.shape[1] != channels:
        came = frames.shape[1] if frames.ndim == 2 else f"frames of shape {frames.shape}"
        raise SignalError(
            f"There are {channels} channels in {wanted_by}, and {came} in the audio. Give the right "
            "--layout, or leave it out."
        )
    gain = _GAINS.get(frames.dtype)
    if gain is None:
        raise SignalError(
            f"Samples of type {frames.dtype} cannot be measured: give float32, float64, int16 or int32."
        )
    return np.ascontiguousarray(frames), gain


def level_dbtp(linear: NDArray[np.float32]) -> NDArray[np.float64]:
    """dBTP of linear peaks of any shape; ``-inf`` for 0."""
    level_db = np.full(linear.shape, SILENCE)
    np.log10(linear, out=level_db, where=linear > 0.0, dtype=np.float64)
    return 20.0 * level_db


def level_lufs(mean_square: NDArray[np.float64]) -> NDArray[np.float64]:
    """LUFS of mean squares of any shape; ``-inf`` for 0 (BS.1770-5 Annex 1, equation 2)."""
    level_db = np.full(mean_square.shape, SILENCE)
    np.log10(mean_square, out=level_db, where=mean_square > 0.0)
    return LOUDNESS_OFFSET_DB + 10.0 * level_db
