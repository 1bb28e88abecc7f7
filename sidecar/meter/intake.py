"""What may be measured, and what stands in for it where it begins anew."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SignalError
from sidecar.meter.kernels import ABSURD
from sidecar.meter.weighting import HIGHEST_RATE_HZ, LOWEST_RATE_HZ
from sidecar.vocabulary import LOUDNESS_OFFSET_DB, SILENCE, FloatArray


def checked_rate(rate_hz: int) -> int:
    """The rate itself. Raises SignalError for one that cannot be measured."""
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise SignalError(
            f"A sample rate of {rate_hz} Hz cannot be measured; use {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz."
        )
    return rate_hz


def checked_frames(frames: FloatArray, channels: int, wanted_by: str) -> FloatArray:
    """The frames, shape (n, channels), contiguous. Raises SignalError for another shape or type."""
    if frames.ndim != 2 or frames.shape[1] != channels:
        raise SignalError(f"Frames of shape {frames.shape} do not fit {wanted_by}: give (n, {channels}).")
    if frames.dtype not in (np.float32, np.float64):
        raise SignalError(f"Samples of type {frames.dtype} cannot be measured: give float32 or float64.")
    return np.ascontiguousarray(frames)


def level_before(first: FloatArray) -> FloatArray:
    """What an interpolator takes to have come before a seam: the first sample's own level, since a
    jump from silence would be a peak that nobody played.

    first: the first frame behind the seam, shape (channels,). Returns shape (channels, 1).
    """
    return np.where(np.abs(first) < ABSURD, first, 0.0)[:, None]


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
