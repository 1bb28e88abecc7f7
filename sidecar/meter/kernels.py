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
from sidecar.meter.weighting_kernels import MEMORY, SQUARES, add_squares
from sidecar.native.kernels import kernel, part

Scratch = tuple[NDArray[np.float64], Workspace]
HOPS_PER_BLOCK = 10
"""A block is 100 ms, a hop 10 ms: fine enough for Tech 3341 cases 13 and 14."""
SETTLING_BLOCKS = 3
"""The slowest poles of the K-weighting are a pair near −239 per second (BS.1770-5 Annex 1, Table 2): after
0.3 s what filters remember has fallen by 580 dB, while a double holds 320 dB."""
_SETTLING = SETTLING_BLOCKS * HOPS_PER_BLOCK
_LONG = 4 * _SETTLING
"""Hops from which on two stretches at once are faster, although one has to settle first."""


class FrontState(NamedTuple):
    """What the front end carries from one call to the next."""

    memories: NDArray[np.float64]
    """Shape (rows of the planes, MEMORY): of the K-weighting; the squares are those of the open hop."""
    history: NDArray[np.float32]
    """Shape (channels, REACH): the samples that the interpolators still need."""
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
        np.zeros(channels, np.float32),
        np.zeros(channels + channels % 2),
        np.zeros(1, np.int64),
    )


def fresh_scratch() -> Scratch:
    """Scratch for :func:`run_front`, one for each thread."""
    return np.empty((2, MEMORY)), workspace()


def run_front(
    planes: NDArray[np.float32],
    ends: NDArray[np.int64],
    sections: NDArray[np.float64],
    gains: NDArray[np.float64],
    state: FrontState,
    scratch: Scratch,
    out: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float32]],
) -> int:
    """Measures *planes*, shape (rows, REACH + n), hop by hop; see :func:`~sidecar.meter.planes.fresh_planes`.

    ends: shape (hops,), where in the n frames each hop ends that gets full here.
    gains: shape (rows,), on the power of each.
    out: of each of those hops the sum of squares of each row, shape (rows, hops), and the weighted one of
    all, shape (hops,); and of each block that gets full here the weighted sum of squares and the linear true
    peak of each channel, shapes (blocks, channels).
    Returns the count of full blocks.
    """
    later, work = scratch
    square_hops(planes, ends, sections, state.memories, later, out[0])
    return fill_blocks(planes, ends, gains, state, work, out)


@kernel
def square_hops(planes: Any, ends: Any, sections: Any, memories: Any, later: Any, squares: Any) -> None:
    """The first half of :func:`run_front`, which two processes compile at once: the K-weighting."""
    for c in range(0, planes.shape[0], 2):
        span = slice(c, c + 2)
        _square_hops(planes[span, REACH:], ends, sections, memories[span], later, squares[span])


@kernel
def fill_blocks(planes: Any, ends: Any, gains: Any, state: Any, work: Any, out: Any) -> int:
    """The second half of :func:`run_front`: true peaks, and the sums of hops and blocks."""
    squares, energies, apart, peaks = out
    channels = state.block_peak.size
    frames = planes.shape[1] - REACH
    blocks = hop = at = 0
    while True:
        behind = hop + HOPS_PER_BLOCK - state.hops[0]
        gets_full = behind <= ends.size
        end = ends[behind - 1] if gets_full else frames
        _raise_peaks(planes, at, end, state.block_peak, work)
        while hop < min(behind, ends.size):
            energies[hop] = _add_hop(squares, hop, gains, state.block_energy)
            state.hops[0] += 1
            hop += 1
        if not gets_full:
            break
        at = end
        state.hops[0] = 0
        copy_row(state.block_peak, peaks[blocks])
        copy_row(state.block_energy[:channels], apart[blocks])
        clear(state.block_energy)
        clear(state.block_peak)
        blocks += 1
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
def _square_hops(x: Any, ends: Any, sections: Any, memories: Any, later: Any, squares: Any) -> None:
    """Puts the sums of squares of two channels, *x*, in each hop into *squares*; those of the open hop stay
    in their memories."""
    memory = memories[0], memories[1]
    done = at = 0
    if ends.size >= _LONG:
        done = _square_two_stretches(x, ends, sections, memories, later, squares)
        at = ends[done - 1]
    for hop in range(done, ends.size):
        add_squares((x[0, at : ends[hop]], x[1, at : ends[hop]]), sections, memory)
        _move_squares(memories, squares, hop)
        at = ends[hop]
    add_squares((x[0, at:], x[1, at:]), sections, memory)


@part()
def _square_two_stretches(x: Any, ends: Any, sections: Any, memories: Any, later: Any, squares: Any) -> int:
    """As :func:`_square_hops` for nearly all hops, whose count is returned: two of them at once.

    The recursion of one pair leaves the processor waiting. So a second one goes ahead, from silence: what it
    gives while it settles is replaced when the first arrives there. later: its memories.
    """
    for c in range(2):
        clear(later[c])
    ahead = (ends.size - _SETTLING) // 2
    at, far = 0, ends[ahead - 1]
    for hop in range(ahead + _SETTLING):
        end, far_end = ends[hop], ends[hop + ahead]
        both = min(end - at, far_end - far)
        add_squares(
            (x[0, at : at + both], x[1, at : at + both], x[0, far : far + both], x[1, far : far + both]),
            sections,
            (memories[0], memories[1], later[0], later[1]),
        )
        # At some rates one hop is a frame longer than another.
        add_squares((x[0, at + both : end], x[1, at + both : end]), sections, (memories[0], memories[1]))
        add_squares((x[0, far + both : far_end], x[1, far + both : far_end]), sections, (later[0], later[1]))
        _move_squares(memories, squares, hop)
        _move_squares(later, squares, hop + ahead)
        at, far = end, far_end
    for c in range(2):
        copy_row(later[c], memories[c])
    return int(2 * ahead + _SETTLING)


@part()
def _move_squares(memories: Any, squares: Any, hop: int) -> None:
    for c in range(2):
        squares[c, hop] = memories[c, SQUARES]
        memories[c, SQUARES] = 0.0


@part()
def _add_hop(squares: Any, hop: int, gains: Any, block_energy: Any) -> float:
    """The weighted sum of squares of a hop; adds that of each row to *block_energy*."""
    total = 0.0
    for c in range(gains.size):
        energy = gains[c] * squares[c, hop]
        block_energy[c] += energy
        total += energy
    return total


def ring_out(state: FrontState) -> NDArray[np.float32]:
    """Returns the true peak of the block that is not full, shape (channels,), with all that interpolators
    still hold, as if silence followed."""
    channels, rows = state.block_peak.size, state.block_energy.size
    ended = fresh_front(channels)
    ended.block_peak[:] = state.block_peak
    planes = np.zeros((rows, 2 * REACH), np.float32)
    planes[:channels, :REACH] = state.history
    no_hops = np.empty((rows, 0)), np.empty(0), np.empty((0, channels)), np.empty((0, channels), np.float32)
    fill_blocks(planes, np.empty(0, np.int64), np.zeros(rows), ended, workspace(), no_hops)
    return ended.block_peak
