"""The compiled inner loop of several stems: frames in; products of 100 ms blocks and their peaks out."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.interpolation import REACH
from sidecar.meter.peak_kernels import true_peak, workspace
from sidecar.meter.planes import ABSURD, SEGMENT, clear, copy_row
from sidecar.meter.weighting_kernels import MEMORY, product, weigh
from sidecar.native.kernels import kernel, part


class StemState(NamedTuple):
    """What the front end carries from one call to the next."""

    memories: NDArray[np.float64]
    """Shape (rows of the planes, MEMORY): filter state of the K-weighting."""
    history: NDArray[np.float32]
    """Shape (channels, REACH): the samples that the interpolators still need."""
    products: NDArray[np.float64]
    """Shape (stems, stems): sums of products in the block that is not full yet, upper triangle."""
    block_peak: NDArray[np.float32]
    """Shape (stems,): true peak of the block that is not full yet, linear."""


def fresh_stems(stems: int, channels: int) -> StemState:
    """The state before the first frame; *channels* are those of all stems."""
    return StemState(
        np.zeros((channels + channels % 2, MEMORY)),
        np.zeros((channels, REACH), np.float32),
        np.zeros((stems, stems)),
        np.zeros(stems, np.float32),
    )


@part()
def _add_products(weighted: Any, n: int, products: Any) -> None:
    """weighted: shape (stems, at least n), each stem's channels one behind the other."""
    for i in range(products.shape[0]):
        for j in range(i, products.shape[0]):
            products[i, j] += product(weighted[i, :n], weighted[j, :n])


def run_stems(
    planes: NDArray[np.float32],
    grid: tuple[NDArray[np.int64], NDArray[np.int64]],
    sos: NDArray[np.float64],
    state: StemState,
    covariance: NDArray[np.float64],
    peaks: NDArray[np.float32],
) -> None:
    """Measures *planes*, shape (rows, REACH + n), the channels of the stems side by side, block by block.

    grid: (where in the n frames each block ends that gets full here, frames in each), shape (blocks,).
    covariance: out, shape (blocks, stems, stems), mean products, summed over a stem's channels.
    peaks: out, shape (blocks, stems), linear true peaks.
    """
    channels, stems = state.history.shape[0], peaks.shape[1]
    scratch = np.zeros((stems + channels % 2, channels // stems * SEGMENT)), workspace()
    _run_stems(planes, grid, sos, state, scratch, (covariance, peaks))


@kernel
def _run_stems(planes: Any, grid: Any, sos: Any, state: Any, scratch: Any, out: Any) -> None:
    ends, lengths = grid
    weighted, work = scratch
    covariance, peaks = out
    channels = state.history.shape[0]
    frames = planes.shape[1] - REACH
    stems = peaks.shape[1]
    each = channels // stems
    at = 0
    for block in range(ends.size + 1):
        end = ends[block] if block < ends.size else frames
        while at < end:
            n = min(end - at, SEGMENT)
            for c in range(channels):
                stem = c // each
                state.block_peak[stem] = true_peak(
                    planes[c, at : at + REACH + n], state.block_peak[stem], work
                )
            for c in range(0, channels, 2):
                d = c + 1
                span = slice(REACH + at, REACH + at + n)
                outs = (weighted[c // each, c % each * n :][:n], weighted[d // each, d % each * n :][:n])
                memory = state.memories[c], state.memories[d]
                weigh((planes[c, span], planes[d, span]), sos, memory, outs)
            _add_products(weighted, each * n, state.products)
            at += n
        if block == ends.size:
            break
        _put_means(state.products, lengths[block], covariance[block])
        for stem in range(stems):
            clear(state.products[stem])
        copy_row(state.block_peak, peaks[block])
        clear(state.block_peak)
    for c in range(channels):
        copy_row(planes[c, frames:], state.history[c])


@part()
def _put_means(products: Any, frames: int, out: Any) -> None:
    """The means of the upper triangle, on both sides of the diagonal."""
    for i in range(products.shape[0]):
        for j in range(i, products.shape[0]):
            out[i, j] = out[j, i] = products[i, j] / frames


@kernel
def run_sum(frames: Any, gain: np.float32, mix: Any) -> None:
    """Adds up stems of as many channels as *mix*, shape (n, channels), has, times *gain*; bad samples are
    silence."""
    channels = mix.shape[1]
    for i in range(frames.shape[0]):
        for c in range(channels):
            total = 0.0
            for k in range(c, frames.shape[1], channels):
                x = np.float32(frames[i, k]) * gain
                total += np.float64(x) if abs(x) < ABSURD else 0.0
            mix[i, c] = total
