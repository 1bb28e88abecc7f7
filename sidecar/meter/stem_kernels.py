"""The compiled inner loop of several stems: frames in; products of 100 ms blocks and their peaks out."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sidecar.meter.interpolation import REACH
from sidecar.meter.kernels import ABSURD, FLAGS, SEGMENT, k_step, remember, take_in, true_peak, workspace


class StemState(NamedTuple):
    """What the front end carries from one call to the next."""

    biquads: NDArray[np.float64]
    """Shape (channels, 4): the memories of both K-weighting sections."""
    history: NDArray[np.float32]
    """Shape (channels, REACH): the samples that the interpolators still need."""
    products: NDArray[np.float64]
    """Shape (stems, stems): sums of products in the block that is not full yet, upper triangle."""
    block_peak: NDArray[np.float32]
    """Shape (stems,): true peak of the block that is not full yet, linear."""


def fresh_stems(stems: int, channels: int) -> StemState:
    """The state before the first frame; *channels* are those of all stems."""
    return StemState(
        np.zeros((channels, 4)),
        np.zeros((channels, REACH), np.float32),
        np.zeros((stems, stems)),
        np.zeros(stems, np.float32),
    )


@njit(nogil=True, cache=True, fastmath=FLAGS)
def _weigh(a: Any, b: Any, sos: Any, memories: Any, outs: Any) -> None:
    """K-weights two channels, *a* and *b*, into *outs*; two, since one leaves the processor waiting."""
    memory_a, memory_b = memories
    out_a, out_b = outs
    s = (memory_a[0], memory_a[1], memory_a[2], memory_a[3])
    t = (memory_b[0], memory_b[1], memory_b[2], memory_b[3])
    for i in range(a.size):
        out_a[i], s = k_step(np.float64(a[i]), sos, s)
        out_b[i], t = k_step(np.float64(b[i]), sos, t)
    remember(memory_a, s)
    remember(memory_b, t)


@njit(nogil=True, cache=True, fastmath=FLAGS)
def _dot(a: Any, b: Any) -> float:
    total = 0.0
    for i in range(a.size):
        total += a[i] * b[i]
    return total


@njit(nogil=True, cache=True)
def _add_products(weighted: Any, n: int, products: Any) -> None:
    """weighted: shape (stems, at least n), each stem's channels one behind the other."""
    for i in range(products.shape[0]):
        for j in range(i, products.shape[0]):
            products[i, j] += _dot(weighted[i, :n], weighted[j, :n])


@njit(nogil=True, cache=True)
def run_stems(frames: Any, grid: Any, sos: Any, state: Any, covariance: Any, peaks: Any) -> int:
    """Measures *frames*, shape (n, channels), the stems side by side, block by block.

    grid: (where in *frames* each block ends that gets full here, frames in each), both of shape (blocks,).
    covariance: out, shape (blocks, stems, stems), mean products, summed over a stem's channels.
    peaks: out, shape (blocks, stems), linear true peaks.
    Returns the count of bad samples.
    """
    ends, lengths = grid
    channels = frames.shape[1]
    stems = peaks.shape[1]
    each = channels // stems
    planes = np.zeros((channels + channels % 2, REACH + SEGMENT), np.float32)
    memories = np.zeros((planes.shape[0], 4))
    planes[:channels, :REACH] = state.history
    memories[:channels] = state.biquads
    weighted = np.zeros((stems + channels % 2, each * SEGMENT))
    work = workspace()
    bad = 0
    at = 0
    for block in range(ends.size + 1):
        end = ends[block] if block < ends.size else frames.shape[0]
        while at < end:
            n = min(end - at, SEGMENT)
            for c in range(channels):
                wrong, _ = take_in(frames, at, n, c, planes[c])
                bad += wrong
                stem = c // each
                state.block_peak[stem] = true_peak(planes[c], REACH + n, state.block_peak[stem], work)
            for c in range(0, channels, 2):
                d = c + 1
                _weigh(
                    planes[c, REACH : REACH + n],
                    planes[d, REACH : REACH + n],
                    sos,
                    (memories[c], memories[d]),
                    (weighted[c // each, c % each * n :], weighted[d // each, d % each * n :]),
                )
            _add_products(weighted, each * n, state.products)
            planes[:, :REACH] = planes[:, n : n + REACH].copy()
            at += n
        if block == ends.size:
            break
        _put_means(state.products, lengths[block], covariance[block])
        state.products[:] = 0.0
        peaks[block] = state.block_peak
        state.block_peak[:] = np.float32(0.0)
    state.history[:] = planes[:channels, :REACH]
    state.biquads[:] = memories[:channels]
    return bad


@njit(nogil=True, cache=True)
def _put_means(products: Any, frames: int, out: Any) -> None:
    """The means of the upper triangle, on both sides of the diagonal."""
    for i in range(products.shape[0]):
        for j in range(i, products.shape[0]):
            out[i, j] = out[j, i] = products[i, j] / frames


@njit(nogil=True, cache=True)
def run_sum(frames: Any, mix: Any) -> None:
    """Adds up stems of as many channels as *mix*, shape (n, channels), has; bad samples are silence."""
    channels = mix.shape[1]
    for i in range(frames.shape[0]):
        for c in range(channels):
            total = 0.0
            for k in range(c, frames.shape[1], channels):
                x = np.float32(frames[i, k])
                total += np.float64(x) if abs(x) < ABSURD else 0.0
            mix[i, c] = total
