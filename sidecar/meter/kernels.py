"""The compiled inner loop: planes in; energies of 10 ms hops and peaks of 100 ms blocks out.

Every array is state that the caller owns; nothing here allocates per sample or takes the
interpreter's lock.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.interpolation import REACH
from sidecar.meter.peak_kernels import Workspace, true_peak, workspace
from sidecar.meter.planes import SEGMENT, clear, copy_row
from sidecar.meter.weighting_kernels import MEMORY, product, weigh
from sidecar.native.kernels import kernel, part

Scratch = tuple[NDArray[np.float64], Workspace]
HOPS_PER_BLOCK = 10
"""A block is 100 ms, a hop 10 ms: fine enough for Tech 3341 cases 13 and 14."""


class FrontState(NamedTuple):
    """What the front end carries from one call to the next."""

    memories: NDArray[np.float64]
    """Shape (rows of the planes, MEMORY): filter state of the K-weighting."""
    history: NDArray[np.float32]
    """Shape (channels, REACH): the samples that the interpolators still need."""
    energy: NDArray[np.float64]
    """Shape (1,): weighted sum of squares of the hop that is not full yet."""
    block_peak: NDArray[np.float32]
    """Shape (channels,): true peak of the block that is not full yet, linear."""
    block_energy: NDArray[np.float64]
    """Shape (rows of the planes,): weighted sum of squares of the block that is not full yet."""
    hops: NDArray[np.int64]
    """Shape (1,): full hops in the block that is not full yet."""


def fresh_front(channels: int) -> FrontState:
    """The state before the first frame."""
    return FrontState(
        np.zeros((channels + channels % 2, MEMORY)),
        np.zeros((channels, REACH), np.float32),
        np.zeros(1),
        np.zeros(channels, np.float32),
        np.zeros(channels + channels % 2),
        np.zeros(1, np.int64),
    )


def fresh_scratch() -> Scratch:
    """Scratch for :func:`run_front`, one for each thread."""
    return np.empty((2, SEGMENT)), workspace()


@kernel
def run_front(planes: Any, ends: Any, sos: Any, gains: Any, state: Any, scratch: Any, out: Any) -> int:
    """Measures *planes*, shape (rows, REACH + n), hop by hop; see :func:`~sidecar.meter.planes.fresh_planes`.

    ends: shape (hops,), where in the n frames each hop ends that gets full here.
    gains: shape (rows,), on the power of each.
    out: weighted sum of squares of each of those, shape (hops,); and of each block that gets full here the
    weighted sum of squares and the linear true peak of each channel, shapes (blocks, channels).
    Returns the count of full blocks.
    """
    energies, apart, peaks = out
    outs, work = scratch
    channels = state.block_peak.size
    frames = planes.shape[1] - REACH
    blocks = hop = at = 0
    while True:
        behind = hop + HOPS_PER_BLOCK - state.hops[0]
        gets_full = behind <= ends.size
        _raise_peaks(planes, at, ends[behind - 1] if gets_full else frames, state.block_peak, work)
        while hop < min(behind, ends.size):
            _add_energies(planes, at, ends[hop], sos, gains, state, outs)
            energies[hop] = state.energy[0]
            state.energy[0] = 0.0
            state.hops[0] += 1
            at = ends[hop]
            hop += 1
        if not gets_full:
            break
        state.hops[0] = 0
        copy_row(state.block_peak, peaks[blocks])
        copy_row(state.block_energy[:channels], apart[blocks])
        clear(state.block_energy)
        clear(state.block_peak)
        blocks += 1
    _add_energies(planes, at, frames, sos, gains, state, outs)
    for c in range(channels):
        copy_row(planes[c, frames:], state.history[c])
    return blocks


@part()
def _raise_peaks(planes: Any, at: int, end: int, peaks: Any, work: Any) -> None:
    """Of each channel, to the true peak of frames from *at* to *end*."""
    for c in range(peaks.size):
        for start in range(at, end, SEGMENT):
            stop = min(start + SEGMENT, end)
            peaks[c] = true_peak(planes[c, start : stop + REACH], peaks[c], work)


@part()
def _add_energies(planes: Any, at: int, end: int, sos: Any, gains: Any, state: Any, outs: Any) -> None:
    """The weighted sums of squares of frames from *at* to *end*, to the open hop and the open block."""
    for start in range(at, end, SEGMENT):
        n = min(end - start, SEGMENT)
        span = slice(REACH + start, REACH + start + n)
        a, b = outs[0, :n], outs[1, :n]
        for c in range(0, planes.shape[0], 2):
            weigh((planes[c, span], planes[c + 1, span]), sos, state.memories[c : c + 2], (a, b))
            energy_a, energy_b = gains[c] * product(a, a), gains[c + 1] * product(b, b)
            state.energy[0] += energy_a + energy_b
            state.block_energy[c] += energy_a
            state.block_energy[c + 1] += energy_b


def ring_out(history: NDArray[np.float32], peaks: NDArray[np.float32]) -> None:
    """Raises *peaks*, shape (channels,), to the true peak of all that interpolators still hold, as if silence
    followed. history: shape (channels, REACH)."""
    _ring_out(np.concatenate([history, np.zeros_like(history)], axis=1), peaks, workspace())


@kernel
def _ring_out(tails: Any, peaks: Any, work: Any) -> None:
    for c in range(peaks.size):
        peaks[c] = true_peak(tails[c], peaks[c], work)
