"""The compiled search for held samples: all channels at one value for a while, amid sound."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.interpolation import REACH
from sidecar.native.kernels import kernel, part

_TOPS = 3
"""Ours: samples beside a run that stand as high as it does."""
_ROOM = 256
"""Runs that one call gives at most: what has more of them is made of them."""


def find_held(
    planes: NDArray[np.float32], channels: int, shortest: int, loud: np.float32, full_scale: np.float32
) -> NDArray[np.int64]:
    """Runs in which no channel moves, as (first, behind the last) in frames of this call, shape (n, 2).

    planes: see :func:`~sidecar.meter.planes.fresh_planes`. shortest: frames. loud: linear, what at least one
    channel must reach. What is at *full_scale* is clipped, not held. A run at either end is given
    whatever its length, for it may go on; one that goes on from before begins at −1.
    """
    runs = np.empty((_ROOM, 2), np.int64)
    return runs[: _find_held(planes, channels, shortest, loud, full_scale, runs)]


@kernel
def _find_held(
    planes: Any, channels: int, shortest: int, loud: np.float32, full_scale: np.float32, runs: Any
) -> int:
    """Returns how many runs there are."""
    end = planes.shape[1]
    step = max(1, shortest - 1)  # no run of *shortest* has room between two probes
    made = 0
    first = REACH - 1
    probe = first
    while probe + 1 < end and made < _ROOM:
        if not _is_held(planes, channels, probe, loud, full_scale):
            probe = end - 2 if probe < end - 2 < probe + step else probe + step
            continue
        start, stop = probe, probe + 2
        while start > first and _stands(planes, channels, start - 1):
            start -= 1
        while stop < end and _stands(planes, channels, stop - 1):
            stop += 1
        if stop - start < shortest and start > first and stop < end:
            probe = max(probe + 1, stop - 1)
            continue
        if not _is_flat_top(planes, channels, start, stop):
            runs[made, 0], runs[made, 1] = start - REACH, stop - REACH
            made += 1
        probe = max(probe + 1, stop - 1)
    return made


@part()
def _stands(planes: Any, channels: int, at: int) -> bool:
    """Whether every channel is in column *at* what it is in the next."""
    for c in range(channels):  # noqa: SIM110 - kernels know no generators
        if planes[c, at] != planes[c, at + 1]:
            return False
    return True


@part()
def _is_flat_top(planes: Any, channels: int, start: int, stop: int) -> bool:
    """Whether every channel is at the outermost that it reaches on this side, and does so elsewhere too:
    clipped sound that was turned down, not held."""
    for c in range(channels):
        held = planes[c, start]
        elsewhere = 0
        for i in range(REACH, planes.shape[1]):
            x = planes[c, i]
            if (x > held > 0.0) or (x < held < 0.0):
                return False
            if x == held and not start <= i < stop:
                elsewhere += 1
        if elsewhere < _TOPS:
            return False
    return True


@part()
def _is_held(planes: Any, channels: int, at: int, loud: np.float32, full_scale: np.float32) -> bool:
    if not _stands(planes, channels, at):
        return False
    highest = np.float32(0.0)
    for c in range(channels):
        highest = max(highest, abs(planes[c, at]))
    return bool(loud <= highest < full_scale)
