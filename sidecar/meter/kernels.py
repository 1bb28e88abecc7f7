"""The compiled inner loop: frames in; energies of 10 ms hops and peaks of 100 ms blocks out.

Every array is state that the caller owns; nothing here allocates per sample or takes the
interpreter's lock.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sidecar.meter.interpolation import LAST_TWO_GAIN, REACH, STAGES

HOPS_PER_BLOCK = 10
"""A block is 100 ms, a hop 10 ms: fine enough for Tech 3341 cases 13 and 14."""

SEGMENT = 1024
"""Frames that are taken through all steps at once, while they are near at hand."""
ABSURD = np.float32(1e9)
"""+180 dBFS: no converter gives it, and from here on float32 could overflow in the interpolators."""
_REST = 1e-30
_LAST_TWO_GAIN = np.float32(LAST_TWO_GAIN)

# No flag lets the compiler assume that NaN does not occur: counting them is part of the job.
FLAGS = {"contract", "reassoc", "nsz"}


class FrontState(NamedTuple):
    """What the front end carries from one call to the next."""

    biquads: NDArray[np.float64]
    """Shape (channels, 4): the memories of both K-weighting sections."""
    history: NDArray[np.float32]
    """Shape (channels, REACH): the samples that the interpolators still need."""
    energy: NDArray[np.float64]
    """Shape (1,): weighted sum of squares of the hop that is not full yet."""
    block_peak: NDArray[np.float32]
    """Shape (channels,): true peak of the block that is not full yet, linear."""
    sample_peak: NDArray[np.float32]
    """Shape (1,): highest sample, linear."""
    hops: NDArray[np.int64]
    """Shape (1,): full hops in the block that is not full yet."""


def fresh_front(channels: int) -> FrontState:
    """The state before the first frame."""
    return FrontState(
        np.zeros((channels, 4)),
        np.zeros((channels, REACH), np.float32),
        np.zeros(1),
        np.zeros(channels, np.float32),
        np.zeros(1, np.float32),
        np.zeros(1, np.int64),
    )


@njit(nogil=True, cache=True)
def take_in(frames: Any, at: int, n: int, channel: int, plane: Any) -> tuple[int, np.float32]:
    """Copies one channel behind its history; returns the bad samples and the highest good one.

    Bad is NaN, infinite or absurd; such a sample becomes silence.
    """
    bad = 0
    peak = np.float32(0.0)
    for i in range(n):
        x = np.float32(frames[at + i, channel])
        size = abs(x)
        if not size < ABSURD:
            bad += 1
            x = np.float32(0.0)
            size = x
        plane[REACH + i] = x
        peak = max(peak, size)
    return bad, peak


@njit(nogil=True, cache=True, fastmath=FLAGS)
def k_step(x: float, sos: Any, s: Any) -> Any:
    """One sample through both sections: what comes out, and what they remember, four numbers of it."""
    b0, b1, b2, _, a1, a2 = sos[0]
    c0, c1, c2, _, d1, d2 = sos[1]
    y = b0 * x + s[0]
    z = c0 * y + s[2]
    return z, (
        b1 * x - a1 * y + s[1],
        b2 * x - a2 * y,
        c1 * y - d1 * z + s[3],
        c2 * y - d2 * z,
    )


@njit(nogil=True, cache=True)
def remember(memory: Any, s: Any) -> None:
    """Keeps what the sections remember. Deep in silence it is put to rest: numbers near the smallest
    there are would cost many times as much to calculate with."""
    for k in range(4):
        memory[k] = s[k] if abs(s[k]) > _REST else 0.0


@njit(nogil=True, cache=True, fastmath=FLAGS)
def _weigh_pair(a: Any, b: Any, n: int, sos: Any, memory_a: Any, memory_b: Any, weights: Any) -> float:
    """Weighted sum of squares of two K-weighted channels; two, since one leaves the processor waiting."""
    s = (memory_a[0], memory_a[1], memory_a[2], memory_a[3])
    t = (memory_b[0], memory_b[1], memory_b[2], memory_b[3])
    sum_a = 0.0
    sum_b = 0.0
    for i in range(REACH, REACH + n):
        z, s = k_step(np.float64(a[i]), sos, s)
        sum_a += z * z
        w, t = k_step(np.float64(b[i]), sos, t)
        sum_b += w * w
    remember(memory_a, s)
    remember(memory_b, t)
    return weights[0] * sum_a + weights[1] * sum_b


def _doubler(taps: NDArray[np.float32]) -> Callable[[Any, int, Any], int]:
    """A kernel that doubles the rate. The taps are built into it: unrolled, it runs ten times faster."""
    pairs = taps.size

    @njit(nogil=True, cache=True, fastmath=FLAGS)
    def double(x: Any, n: int, out: Any) -> int:
        """Each sample of x[:n] that has its neighbours, and the midpoint behind it; returns the count."""
        made = n - 2 * pairs + 1
        for i in range(made):
            mid = np.float32(0.0)
            for k in range(pairs):
                mid += taps[k] * (x[i + pairs - 1 - k] + x[i + pairs + k])
            out[2 * i] = x[i + pairs - 1]
            out[2 * i + 1] = mid
        return 2 * made

    return cast(Callable[[Any, int, Any], int], double)


_double_first, _double_second, _double_third, _double_fourth = (_doubler(taps) for taps in STAGES)


@njit(nogil=True, cache=True, fastmath=FLAGS)
def _highest(x: Any, n: int, work: Any) -> np.float32:
    """Largest absolute value of x[:n], n ≥ 2, by folding it in half: that vectorises, a running
    maximum does not."""
    half = n // 2
    peak = abs(x[n - 1])
    for i in range(half):
        a, b = abs(x[i]), abs(x[i + half])
        work[i] = a if a > b else b
    while half > 16:
        peak = max(peak, work[half - 1])
        half //= 2
        for i in range(half):
            a, b = work[i], work[i + half]
            work[i] = a if a > b else b
    for i in range(half):
        peak = max(peak, work[i])
    return peak


@njit(nogil=True, cache=True)
def true_peak(plane: Any, n: int, peak: Any, work: Any) -> np.float32:
    """Highest absolute value of plane[:n] on a grid of 16 points a sample, or *peak* if that is higher.

    The last two doublings are left out where they cannot matter: an interpolated value cannot
    exceed the largest sample in reach times the sum of the taps' sizes. The result is the same.
    """
    twice, fourfold, eightfold, sixteenfold, folded = work
    n2 = _double_first(plane, n, twice)
    n4 = _double_second(twice, n2, fourfold)
    reachable = _highest(fourfold, n4, folded)
    if reachable * _LAST_TWO_GAIN <= peak:
        return max(peak, reachable)
    n8 = _double_third(fourfold, n4, eightfold)
    n16 = _double_fourth(eightfold, n8, sixteenfold)
    return max(peak, _highest(sixteenfold, n16, folded))


@njit(nogil=True, cache=True)
def workspace() -> Any:
    """Scratch for :func:`true_peak`, for up to REACH + 1024 samples at a time."""
    longest = REACH + SEGMENT
    return (
        np.empty(2 * longest, np.float32),
        np.empty(4 * longest, np.float32),
        np.empty(8 * longest, np.float32),
        np.empty(16 * longest, np.float32),
        np.empty(8 * longest, np.float32),
    )


@njit(nogil=True, cache=True)
def run_front(
    frames: Any, ends: Any, sos: Any, weights: Any, state: Any, energies: Any, peaks: Any
) -> tuple[int, int]:
    """Measures *frames*, shape (n, channels), hop by hop.

    ends: shape (hops,), where in *frames* each hop ends that gets full here.
    energies: out, shape (hops,), weighted sum of squares of each of those.
    peaks: out, shape (blocks, channels), linear true peak of each block that gets full here.
    Returns the count of full blocks and of bad samples.
    """
    channels = frames.shape[1]
    planes = np.zeros((channels + channels % 2, REACH + SEGMENT), np.float32)
    memories = np.zeros((planes.shape[0], 4))
    gains = np.zeros(planes.shape[0])
    planes[:channels, :REACH] = state.history
    memories[:channels] = state.biquads
    gains[:channels] = weights
    work = workspace()
    blocks = 0
    bad = 0
    at = 0
    for hop in range(ends.size + 1):
        end = ends[hop] if hop < ends.size else frames.shape[0]
        while at < end:
            n = min(end - at, SEGMENT)
            for c in range(channels):
                wrong, peak = take_in(frames, at, n, c, planes[c])
                bad += wrong
                state.sample_peak[0] = max(state.sample_peak[0], peak)
                state.block_peak[c] = true_peak(planes[c], REACH + n, state.block_peak[c], work)
            for c in range(0, channels, 2):
                state.energy[0] += _weigh_pair(
                    planes[c], planes[c + 1], n, sos, memories[c], memories[c + 1], gains[c : c + 2]
                )
            planes[:, :REACH] = planes[:, n : n + REACH].copy()
            at += n
        if hop == ends.size:
            break
        energies[hop] = state.energy[0]
        state.energy[0] = 0.0
        state.hops[0] += 1
        if state.hops[0] == HOPS_PER_BLOCK:
            state.hops[0] = 0
            peaks[blocks] = state.block_peak
            state.block_peak[:] = np.float32(0.0)
            blocks += 1
    state.history[:] = planes[:channels, :REACH]
    state.biquads[:] = memories[:channels]
    return blocks, bad
