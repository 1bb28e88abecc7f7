"""The compiled statistics: hops in; momentary, short-term, gated loudness and loudness range out.

Cost and memory of a reading do not grow with the programme: levels are sorted into bins as they
come. Gated loudness stays exact all the same, since the blocks of a bin are kept on pages of its own,
and the one bin in which the gate falls is looked through block by block.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.kernels import HOPS_PER_BLOCK
from sidecar.meter.planes import copy_row
from sidecar.model.units import LOUDNESS_OFFSET_DB, mean_square
from sidecar.native.kernels import kernel, part

MOMENTARY_HOPS = 40
"""0.4 s: Tech 3341 §2.2, and the gating block of BS.1770-5 Annex 1."""
SHORT_TERM_HOPS = 300
"""3 s: Tech 3341 §2.2."""
_BLOCK_HOPS = HOPS_PER_BLOCK

_LOWEST_LUFS = -70.0
"""The absolute gate: BS.1770-5 Annex 1; Tech 3342 §3.1."""
_HIGHEST_LUFS = 20.0
_GATE_ENERGY = mean_square(_LOWEST_LUFS)
_GATE_BINS_PER_LU = 20
_RANGE_BINS_PER_LU = 200
_PAGE = 32
"""Blocks on a page: few enough that those which are not full take little room."""
_OFFSET_DB = LOUDNESS_OFFSET_DB

HELD, MEASURING, TAIL = 0, 1, 2
"""Held: only momentary and short-term run. Tail: silence behind a file's end, for the range alone."""


class WindowState(NamedTuple):
    """What the statistics carry; see :func:`fresh_windows` for the shapes."""

    energy: NDArray[np.float64]
    """Shape (300,): weighted sums of squares of the last hops, newest last."""
    length: NDArray[np.int64]
    """Shape (300,): their lengths in frames."""
    hops: NDArray[np.int64]
    """Shape (1,): hops since the measurement began or was last cut."""
    levels: NDArray[np.float64]
    """Shape (4,): mean squares of momentary, short-term and the maxima of both."""
    frames: NDArray[np.int64]
    """Shape (3,): frames measured; and how many had been when the windows of both maxima ended."""


class GateState(NamedTuple):
    """Gating blocks above the absolute gate, sorted into bins of 0.05 LU."""

    sums: NDArray[np.float64]
    counts: NDArray[np.int64]
    newest: NDArray[np.int64]
    """The bin's newest page, −1 where it is empty."""
    pages: NDArray[np.int64]
    """Shape (1,): pages in use."""


Pages = tuple[NDArray[np.float32], NDArray[np.int32]]
"""Mean squares of the gating blocks, shape (pages, blocks on a page): in single precision, for only what lies
next to the gate is read from here. And the older page of the same bin, −1 where there is none."""


class RangeState(NamedTuple):
    """Short-term values from −70 LUFS up, counted in bins of 0.005 LU."""

    counts: NDArray[np.int64]
    total: NDArray[np.float64]
    """Shape (1,): sum of their mean squares."""
    used: NDArray[np.int64]
    """Shape (2,): the first bin that is not empty and the one behind the last: all of them are more than the
    nearest memory of a processor holds."""


def fresh_windows(hop_frames: int) -> WindowState:
    """The state before the first hop: silence came before, in hops of so many frames."""
    return WindowState(
        np.zeros(SHORT_TERM_HOPS),
        np.full(SHORT_TERM_HOPS, hop_frames),
        np.zeros(1, np.int64),
        np.zeros(4),
        np.zeros(3, np.int64),
    )


def fresh_gate() -> GateState:
    """No blocks yet."""
    bins = round((_HIGHEST_LUFS - _LOWEST_LUFS) * _GATE_BINS_PER_LU)
    return GateState(
        np.zeros(bins), np.zeros(bins, np.int64), np.full(bins, -1, np.int64), np.zeros(1, np.int64)
    )


def pages_with_room(pages: Pages, gate: GateState, blocks: int) -> Pages:
    """The same, with room for so many blocks more."""
    kept, older = pages
    used = int(gate.pages[0])
    begun = min(blocks, gate.sums.size + blocks // _PAGE)  # at worst one in each bin, and the full ones
    needed = used + begun
    if needed <= older.size:
        return pages
    # Only what is used of it takes memory: pages that are never written are not allocated.
    roomier = _empty_pages(max(needed, 2 * older.size))
    roomier[0][:used], roomier[1][:used] = kept[:used], older[:used]
    return roomier


def fresh_pages() -> Pages:
    """Room for the first minutes."""
    return _empty_pages(256)


def _empty_pages(count: int) -> Pages:
    return np.empty((count, _PAGE), np.float32), np.empty(count, np.int32)


def fresh_range() -> RangeState:
    """No values yet."""
    bins = round((_HIGHEST_LUFS - _LOWEST_LUFS) * _RANGE_BINS_PER_LU)
    return RangeState(np.zeros(bins, np.int64), np.zeros(1), np.array([bins, 0]))


@part()
def _bin(energy: float, bins_per_lu: int, bins: int) -> int:
    above = _OFFSET_DB + 10.0 * np.log10(energy) - _LOWEST_LUFS
    return max(0, min(bins - 1, int(above * bins_per_lu)))


@part(fastmath={"reassoc", "contract"})
def _mean(energy: Any, length: Any, start: int, stop: int) -> float:
    total = 0.0
    frames = 0
    for i in range(start, stop):
        total += energy[i]
        frames += length[i]
    return total / frames


def run_windows(
    hops: tuple[NDArray[np.float64], NDArray[np.int64]],
    mode: int,
    state: WindowState,
    gate: GateState,
    pages: Pages,
    spread: RangeState,
    blocks: NDArray[np.float64],
) -> int:
    """Adds full hops.

    hops: (weighted sums of squares, frames), each of shape (hops,).
    pages: with room for hops / 10 + 1 blocks more.
    blocks: out, shape (hops / 10 + 1, 3), mean squares of each 100 ms block that gets full, and of
    momentary and short-term at its end.
    Returns how many of those there are.
    """
    energies, lengths = hops
    behind = np.concatenate([state.energy, energies]), np.concatenate([state.length, lengths])
    return slide_windows(behind, mode, state, gate, pages, spread, blocks)


@kernel
def slide_windows(behind: Any, mode: int, state: Any, gate: Any, pages: Any, spread: Any, blocks: Any) -> int:
    """As :func:`run_windows`; the hops come behind those of the last 3 s."""
    history, frames = behind
    hops = history.size - SHORT_TERM_HOPS
    made = 0
    for hop in range(hops):
        end = SHORT_TERM_HOPS + hop + 1
        momentary = _mean(history, frames, end - MOMENTARY_HOPS, end)
        short_term = _mean(history, frames, end - SHORT_TERM_HOPS, end)
        if mode != TAIL:
            state.levels[0] = momentary
            state.levels[1] = short_term
        if mode == HELD:
            continue
        state.hops[0] += 1
        if mode == MEASURING:
            state.frames[0] += frames[end - 1]
            _raise_maxima(state, momentary, short_term)
        if state.hops[0] % _BLOCK_HOPS:
            continue
        if state.hops[0] >= SHORT_TERM_HOPS and short_term >= _GATE_ENERGY:
            _count(spread, short_term)
        if mode == TAIL:
            continue
        if state.hops[0] >= MOMENTARY_HOPS and momentary > _GATE_ENERGY:
            _keep(gate, pages, momentary)
        blocks[made, 0] = _mean(history, frames, end - _BLOCK_HOPS, end)
        blocks[made, 1] = momentary
        blocks[made, 2] = short_term
        made += 1
    copy_row(history[hops:], state.energy)
    copy_row(frames[hops:], state.length)
    return made


@part()
def _raise_maxima(state: Any, momentary: float, short_term: float) -> None:
    """Only of whole windows: those that reach back before the beginning, or across a cut, hold what is no
    part of the programme."""
    if state.hops[0] >= MOMENTARY_HOPS and momentary > state.levels[2]:
        state.levels[2] = momentary
        state.frames[1] = state.frames[0]
    if state.hops[0] >= SHORT_TERM_HOPS and short_term > state.levels[3]:
        state.levels[3] = short_term
        state.frames[2] = state.frames[0]


@part()
def _count(spread: Any, energy: float) -> None:
    place = _bin(energy, _RANGE_BINS_PER_LU, spread.counts.size)
    spread.counts[place] += 1
    spread.total[0] += energy
    spread.used[0] = min(spread.used[0], place)
    spread.used[1] = max(spread.used[1], place + 1)


@part()
def _keep(gate: Any, pages: Any, energy: float) -> None:
    kept, older = pages
    place = _bin(energy, _GATE_BINS_PER_LU, gate.sums.size)
    on_page = gate.counts[place] % _PAGE
    if on_page == 0:
        older[gate.pages[0]] = gate.newest[place]
        gate.newest[place] = gate.pages[0]
        gate.pages[0] += 1
    kept[gate.newest[place], on_page] = energy
    gate.sums[place] += energy
    gate.counts[place] += 1


@part()
def _total(row: Any, first: int, past: int) -> Any:
    """Sum of *row* from place *first* to before *past*."""
    total = row[0] - row[0]  # zero of its type
    for i in range(first, past):
        total += row[i]
    return total


@kernel
def statistics(gate: Any, pages: Any, spread: Any) -> tuple[float, float]:
    """Gated mean square and loudness range, LU."""
    return _gated_mean_square(gate, pages), _loudness_range(spread)


@part()
def _gated_mean_square(gate: Any, pages: Any) -> float:
    """Mean square of the blocks above both gates (BS.1770-5 Annex 1, equations 5 to 7); 0 if none."""
    kept, older = pages
    bins = gate.sums.size
    blocks = _total(gate.counts, 0, bins)
    if blocks == 0:
        return 0.0
    threshold = 0.1 * _total(gate.sums, 0, bins) / blocks
    place = _bin(threshold, _GATE_BINS_PER_LU, bins)
    total = _total(gate.sums, place + 1, bins)
    count = _total(gate.counts, place + 1, bins)
    page = gate.newest[place]
    on_page = (gate.counts[place] - 1) % _PAGE + 1
    while page >= 0:
        for i in range(on_page):
            if kept[page, i] > threshold:
                total += kept[page, i]
                count += 1
        page = older[page]
        on_page = _PAGE
    return total / count


@part()
def _loudness_range(spread: Any) -> float:
    """LU between the 10th and the 95th percentile of the gated short-term values (Tech 3342 §5).

    The rank is the nearest one, and halves go up, as in the program printed there.
    """
    lowest, past = spread.used[0], spread.used[1]
    total = _total(spread.counts, lowest, past)
    if total == 0:
        return 0.0
    gate = 0.01 * spread.total[0] / total  # 20 LU under the power mean, Tech 3342 §3.1
    first = _bin(gate, _RANGE_BINS_PER_LU, spread.counts.size) if gate > _GATE_ENERGY else 0
    first = max(first, lowest)
    count = _total(spread.counts, first, past)
    low = _ranked(spread.counts, first, ((count - 1) * 10 + 50) // 100)
    high = _ranked(spread.counts, first, ((count - 1) * 95 + 50) // 100)
    return (high - low) / _RANGE_BINS_PER_LU


@part()
def _ranked(counts: Any, first: int, rank: int) -> int:
    """The bin that holds the value of that rank, counted from 0 at bin *first*."""
    seen = 0
    for place in range(first, counts.size):
        seen += counts[place]
        if seen > rank:
            return place
    return first
