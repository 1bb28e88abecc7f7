"""The compiled inner loop behind the gaps: samples in, runs of exact zeros out."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.interpolation import REACH
from sidecar.native.kernels import part

EDGE = 12
"""Samples by whose peak the sound right before and right after a run is judged: few enough that a fade of
a few milliseconds is down by then, and no more than half of what planes keep of the time before."""
_BUNCH = 64
_NO_SIGN = np.int32(0x7FFFFFFF)


class ZeroRuns(NamedTuple):
    """Runs of exact zeros in planes, see :func:`~sidecar.meter.planes.fresh_planes`, in the frames from
    REACH − EDGE up to EDGE before their end: so each frame of a file is looked at once, and knows its
    neighbours."""

    at: NDArray[np.int64]
    """Shape (channels,): the column up to which all is known, which sounds unless a run is open."""
    begun: NDArray[np.int64]
    """Shape (channels,): where the run begins that is open; 0 if none is."""
    places: NDArray[np.int64]
    """Shape (room, 3): channel, first column of a run, the column behind its last."""
    edges: NDArray[np.float32]
    """Shape (room, 2): linear peaks right before and right after it."""
    made: NDArray[np.int64]
    """Shape (1,): how many there are."""


def fresh_runs(planes: NDArray[np.float32], channels: int, shortest: int) -> ZeroRuns:
    """None yet."""
    begin = REACH - EDGE
    room = channels * ((planes.shape[1] - REACH) // shortest + 2)
    runs = ZeroRuns(
        np.empty(channels, np.int64),
        np.zeros(channels, np.int64),
        np.empty((room, 3), np.int64),
        np.empty((room, 2), np.float32),
        np.zeros(1, np.int64),
    )
    for c in range(channels):
        runs.at[c] = begin
        if planes.shape[1] > REACH and planes[c, begin] == 0.0:
            runs.begun[c] = begin
    return runs


@part()
def is_clear(planes: Any, c: int, end: int, is_silent: bool, shortest: int, at: Any, begun: Any) -> bool:
    """Whether channel *c* needs no closer look up to column *end*, which never falls: nearly always, so it
    is given no more of the runs than the two that it needs. is_silent: whether what comes last is zeros: an
    open run can be seen to its end later."""
    if begun[c]:
        return is_silent
    far = _passed(planes, c, at[c], end, shortest)
    if far < 0:
        return False
    at[c] = far
    return True


@part()
def _passed(planes: Any, c: int, at: int, end: int, shortest: int) -> int:
    """How far channel *c*, which sounds in column *at*, is known to hold no run of *shortest* zeros that
    begins before *end*; −1 if there may be one. Where it returns, it sounds.

    Only every so manieth sample is looked at: no such run has room between two of them.
    """
    ahead = at + shortest
    while ahead < end:
        if planes[c, ahead] == 0.0:
            stop = ahead + 1
            while stop < end and planes[c, stop] == 0.0:
                stop += 1
            if stop == end or stop - _back_to_sound(planes[c], ahead) >= shortest:
                return -1
            ahead = stop
        at = ahead
        ahead = at + shortest
    return at


@part()
def find_runs(x: Any, c: int, end: int, shortest: int, loud: np.float32, runs: Any) -> None:
    """Adds the runs of channel *c*, samples *x*, that end before column *end*: those of *shortest* samples
    and more whose both edges reach *loud*, and one that touches where looking began, since it may have
    begun before."""
    at = runs.at[c]
    while at < end:
        if runs.begun[c]:
            at = _next_sound(x, at, end)
            if at == end:
                break
            _close(x, c, at, shortest, loud, runs)
        if at + shortest >= end:
            break
        at += shortest
        if x[at] == 0.0:
            runs.begun[c] = _back_to_sound(x, at)
    runs.at[c] = at


@part()
def end_runs(planes: Any, shortest: int, loud: np.float32, runs: Any) -> None:
    """Adds what touches the end, whatever its length, since it may go on."""
    end = planes.shape[1] - EDGE
    for c in range(runs.at.size):
        x = planes[c]
        find_runs(x, c, end, shortest, loud, runs)
        if not runs.begun[c] and x[end - 1] == 0.0:
            runs.begun[c] = _back_to_sound(x, end)
        if runs.begun[c]:
            _add(x, c, end, runs)


@part()
def _close(x: Any, c: int, stop: int, shortest: int, loud: np.float32, runs: Any) -> None:
    start = runs.begun[c]
    if start == REACH - EDGE or (
        stop - start >= shortest
        and _peak(x, start - EDGE, start) >= loud
        and _peak(x, stop, stop + EDGE) >= loud
    ):
        _add(x, c, stop, runs)
    runs.begun[c] = 0


@part()
def _add(x: Any, c: int, stop: int, runs: Any) -> None:
    made, start = runs.made[0], runs.begun[c]
    place, edges = runs.places[made], runs.edges[made]
    place[0], place[1], place[2] = c, start, stop
    edges[0], edges[1] = _peak(x, start - EDGE, start), _peak(x, stop, stop + EDGE)
    runs.made[0] = made + 1


@part()
def _back_to_sound(x: Any, at: int) -> int:
    """The first of the zeros that end before or at *at*; a sample before them is none."""
    while x[at - 1] == 0.0:
        at -= 1
    return at


@part()
def _next_sound(x: Any, at: int, end: int) -> int:
    """The first sample from *at* that is not zero; *end* if there is none."""
    bits = x.view(np.int32)
    while at + _BUNCH <= end and not _any_bit(bits[at : at + _BUNCH]) & _NO_SIGN:
        at += _BUNCH
    while at < end and x[at] == 0.0:
        at += 1
    return at


@part()
def _any_bit(bits: Any) -> np.int32:
    """Without an early way out, which vectorises, as comparing floats does not."""
    found = np.int32(0)
    for i in range(bits.size):
        found |= bits[i]
    return found


@part()
def _peak(x: Any, start: int, stop: int) -> np.float32:
    peak = np.float32(0.0)
    for i in range(start, stop):
        peak = max(peak, abs(x[i]))
    return peak
