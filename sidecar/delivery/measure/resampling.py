"""Another sample rate, in blocks: the result of the whole, in memory that does not grow with it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

Frames = NDArray[np.float32]

_REACH = 10
"""Samples of the lower rate to each side that the filter of ``scipy.signal.resample_poly`` takes in."""


def resampled(blocks: Iterable[Frames], channels: int, rate_hz: int, to_hz: int) -> Iterator[Frames]:
    """*blocks*, each of shape (n, channels) at *rate_hz*, as blocks at *to_hz*."""
    if rate_hz == to_hz:
        yield from blocks
        return
    from scipy.signal import resample_poly

    common = math.gcd(rate_hz, to_hz)
    up, down = to_hz // common, rate_hz // common
    pad = down * math.ceil((_REACH + 1) * max(up, down) / up / down)
    """Input frames on either side of what is taken: whole steps of the ratio, beyond the filter's reach."""
    pad_out = pad * up // down
    held = np.zeros((pad, channels), np.float32)
    for block in blocks:
        held = np.concatenate([held, block])
        whole = (len(held) - 2 * pad) // down * down
        if whole > 0:
            out = resample_poly(held[: whole + 2 * pad], up, down, axis=0)
            yield out[pad_out : pad_out + whole * up // down].astype(np.float32)
            held = held[whole:]
    left = len(held) - pad
    if left > 0:
        ended = np.concatenate([held, np.zeros((pad, channels), np.float32)])
        out = resample_poly(ended, up, down, axis=0)
        yield out[pad_out : pad_out + math.ceil(left * up / down)].astype(np.float32)
