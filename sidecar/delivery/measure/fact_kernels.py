"""The compiled inner loop of the facts: frames in, sums and runs out."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.facts import CLIP_SAMPLES, CLIPS_LISTED
from sidecar.delivery.measure.gap_kernels import EDGE, end_runs, find_runs, fresh_runs, is_clear
from sidecar.meter.interpolation import REACH
from sidecar.meter.planes import SEGMENT, highest
from sidecar.native.kernels import kernel, part

_FLAGS = {"contract", "reassoc", "nsz"}
_SHORTEST_RUN = 1000
"""Silences within one call that are shorter than so many frames cannot become one of a second."""


class FactState(NamedTuple):
    """What is carried from one call to the next."""

    total: NDArray[np.float64]
    """Shape (channels,): sum of samples."""
    peak: NDArray[np.float32]
    """Shape (channels,): highest sample, linear."""
    products: NDArray[np.float64]
    """Shape (3,): sums of left², left·right, right²; of the first two channels."""
    differ: NDArray[np.bool_]
    """Shape (1,): whether the first two channels differ anywhere."""
    clip_run: NDArray[np.int64]
    """Shape (channels,): samples at full scale up to the last frame without a break."""
    clips: NDArray[np.int64]
    """Shape (channels,): clipped runs."""
    clips_at: NDArray[np.int64]
    """Shape (channels, CLIPS_LISTED): the frames at which the first of them begin."""


def fresh_facts(channels: int) -> FactState:
    """The state before the first frame."""
    return FactState(
        np.zeros(channels),
        np.zeros(channels, np.float32),
        np.zeros(3),
        np.zeros(1, np.bool_),
        np.zeros(channels, np.int64),
        np.zeros(channels, np.int64),
        np.zeros((channels, CLIPS_LISTED), np.int64),
    )


def join(state: FactState, later: FactState) -> None:
    """Adds to *state* what was gathered from the frames that follow it."""
    state.total[:] += later.total
    state.peak[:] = np.maximum(state.peak, later.peak)
    state.products[:] += later.products
    state.differ[:] |= later.differ
    state.clip_run[:] = later.clip_run
    if later.clips.any():
        _join_clips(state, later)


def _join_clips(state: FactState, later: FactState) -> None:
    for c, count in enumerate(later.clips):
        begun = later.clips_at[c, :count]
        room = state.clips_at[c, state.clips[c] :]
        room[: begun.size] = begun[: room.size]
    state.clips[:] += later.clips


@part(fastmath=_FLAGS)
def _sum(x: Any) -> float:
    total = 0.0
    for i in range(x.size):
        total += np.float64(x[i])
    return total


@part(fastmath=_FLAGS)
def _sums(left: Any, right: Any) -> tuple[float, float, float, float, float]:
    """Sums of left, right, left², left·right and right², in double precision: a product of two floats is
    exact there, so that it does not matter into which pieces a file is cut."""
    total_left = total_right = squares_left = both = squares_right = 0.0
    for i in range(left.size):
        x, y = np.float64(left[i]), np.float64(right[i])
        total_left += x
        total_right += y
        squares_left += x * x
        both += x * y
        squares_right += y * y
    return total_left, total_right, squares_left, both, squares_right


@part()
def _differ(x: Any, y: Any) -> bool:
    unlike = 0
    for i in range(x.size):
        unlike |= x[i] != y[i]
    return unlike != 0


@part()
def _count_clips(x: Any, frame: int, full_scale: np.float32, c: int, state: Any) -> None:
    """A run counts when its third sample comes, so that it counts once however it is cut."""
    run = state.clip_run[c]
    for i in range(x.size):
        if abs(x[i]) < full_scale:
            run = 0
            continue
        run += 1
        if run == CLIP_SAMPLES:
            if state.clips[c] < CLIPS_LISTED:
                state.clips_at[c, state.clips[c]] = frame + i + 1 - CLIP_SAMPLES
            state.clips[c] += 1
    state.clip_run[c] = run


@part()
def _first_sound(planes: Any, channels: int, start: int, stop: int, step: int) -> int:
    """The first column from *start* towards *stop* in which any channel is not zero; *stop* if none."""
    for i in range(start, stop, step):
        for c in range(channels):
            if planes[c, i] != 0.0:
                return i
    return stop


@kernel
def loud_ends(planes: Any, channels: int, loud: np.float32) -> tuple[int, int]:
    """The first and the last frame of this call in which any channel is above *loud*, linear; −1 for none."""
    end = planes.shape[1]
    first = REACH
    while first < end and not _is_loud(planes, channels, first, loud):
        first += 1
    if first == end:
        return -1, -1
    last = end - 1
    while not _is_loud(planes, channels, last, loud):
        last -= 1
    return first - REACH, last - REACH


@part()
def _is_loud(planes: Any, channels: int, at: int, loud: np.float32) -> bool:
    highest = np.float32(0.0)
    for c in range(channels):
        highest = max(highest, abs(planes[c, at]))
    return bool(highest > loud)


@part()
def _add_pair(left: Any, right: Any, state: Any) -> None:
    """The sums of two channels, which one pass gives, and whether they differ."""
    total_left, total_right, squares_left, both, squares_right = _sums(left, right)
    state.total[0] += total_left
    state.total[1] += total_right
    state.products[0] += squares_left
    state.products[1] += both
    state.products[2] += squares_right
    if not state.differ[0]:
        state.differ[0] = _differ(left, right)


def gather(
    planes: NDArray[np.float32],
    first_frame: int,
    full_scale: np.float32,
    shortest_gap: int,
    loud: np.float32,
    state: FactState,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float32]]:
    """Adds planes, see :func:`~sidecar.meter.planes.fresh_planes`, of which the first frame is frame
    *first_frame* of the file. shortest_gap: frames. loud: linear, what both sides of a gap must reach.

    Returns the silences in them as (start, stop) in frames of the file, shape (runs, 2): those at
    either end whatever their length, since they may go on, and the longer ones between. Then what may be
    gaps as (channel, start, stop), shape (n, 3), with the peaks beside them, shape (n, 2).
    """
    zeros = fresh_runs(planes, state.total.size, shortest_gap)
    runs = np.empty(((planes.shape[1] - REACH) // _SHORTEST_RUN + 2, 2), np.int64)
    work = np.empty(SEGMENT, np.int32)
    shift = first_frame - REACH
    limits = full_scale, shortest_gap, loud
    made = _gather(planes, shift, limits, state, (zeros, runs), work)
    found = zeros.made[0]
    zeros.places[:found, 1:] += shift
    return runs[:made], zeros.places[:found], zeros.edges[:found]


@kernel
def _gather(planes: Any, shift: int, limits: Any, state: Any, found: Any, work: Any) -> int:
    """Returns how many silences there are."""
    full_scale, shortest_gap, loud = limits
    zeros, runs = found
    channels = state.total.size
    end = planes.shape[1]
    made = 0
    at, begun = zeros.at, zeros.begun
    silent_from = REACH
    for start in range(REACH, end, SEGMENT):
        stop = min(start + SEGMENT, end)
        loudest = np.float32(0.0)
        for c in range(channels):
            x = planes[c, start:stop]
            if channels != 2:
                state.total[c] += _sum(x)
            peak = highest(x, work)
            state.peak[c] = max(state.peak[c], peak)
            loudest = max(loudest, peak)
            if peak >= full_scale:
                _count_clips(x, start + shift, full_scale, c, state)
            else:
                state.clip_run[c] = 0
            if not is_clear(planes, c, stop - EDGE, peak == 0.0, shortest_gap, at, begun):
                find_runs(planes[c], c, stop - EDGE, shortest_gap, loud, zeros)
        if channels == 2:
            _add_pair(planes[0, start:stop], planes[1, start:stop], state)
        if loudest == 0.0:
            continue
        sound = _first_sound(planes, channels, start, stop, 1)
        if sound > silent_from and (silent_from == REACH or sound - silent_from >= _SHORTEST_RUN):
            runs[made, 0], runs[made, 1] = silent_from + shift, sound + shift
            made += 1
        silent_from = _first_sound(planes, channels, stop - 1, start - 1, -1) + 1
    if silent_from < end:
        runs[made, 0], runs[made, 1] = silent_from + shift, end + shift
        made += 1
    if end > REACH:
        end_runs(planes, shortest_gap, loud, zeros)
    return made
