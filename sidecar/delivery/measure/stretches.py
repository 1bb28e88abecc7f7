"""One file measured in stretches, several at a time, with the result of the whole."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.facts import CLIP_SAMPLES
from sidecar.delivery.measure.facts_keeper import FactsKeeper
from sidecar.meter.front import BLOCKS_PER_SECOND, Front, Hops, block_start, joined
from sidecar.meter.kernels import SETTLING_BLOCKS
from sidecar.meter.layouts import Layout
from sidecar.sources.sound_file import SoundFile

_READ_FRAMES = 524_288
"""11 s: what is done once for each read is a twentieth of the work then, and memory hardly grows."""
_LONGEST_BLOCKS, _SHORTEST_BLOCKS = 300, 50
"""30 s and 5 s: the 0.3 s that are measured twice are a small part of either."""
_EACH = 4
"""Stretches a worker, at least, so that no one waits long for the last."""


class Stretch(NamedTuple):
    """What was measured of some frames, and the front end that goes on behind them."""

    front: Front
    hops: Hops
    keeper: FactsKeeper


def stretches(file: SoundFile, layout: Layout, workers: int) -> Iterator[Stretch]:
    """The stretches of *file* in order, measured by so many threads.

    Where the encoding lets no place be found to the frame, one measures while another decodes.
    Raises SourceError where the file cannot be read.
    """
    if workers <= 1:
        yield from _one_by_one(file, layout, _reads(file))
        return
    with ThreadPoolExecutor(workers) as pool:
        if file.finds_frames:
            yield from _side_by_side(file, layout, workers, pool)
        else:
            yield from _one_by_one(file, layout, _ahead(file, pool))


def part_stretches(file: SoundFile, layout: Layout, first: int, stop: int) -> Iterator[Stretch]:
    """The frames from *first* up to *stop*, measured as if nothing were before them."""
    return _one_by_one(file, layout, file_frames(file, first, stop))


def _side_by_side(
    file: SoundFile, layout: Layout, workers: int, pool: ThreadPoolExecutor
) -> Iterator[Stretch]:
    blocks = -(-file.frames * BLOCKS_PER_SECOND // file.rate_hz)
    length = max(_SHORTEST_BLOCKS, min(_LONGEST_BLOCKS, -(-blocks // (_EACH * workers))))
    asked: deque[Future[Stretch]] = deque()
    for first in range(0, blocks, length):
        asked.append(pool.submit(_stretch, file, layout, first, first + length))
        if len(asked) > 2 * workers:
            yield asked.popleft().result()
    while asked:
        yield asked.popleft().result()


def _stretch(whole: SoundFile, layout: Layout, first_block: int, end_block: int) -> Stretch:
    """Measures these blocks, or up to the end of the file, on a reader of their own."""
    lead_block = max(0, first_block - SETTLING_BLOCKS)
    lead, at, end = (block_start(whole.rate_hz, block) for block in (lead_block, first_block, end_block))
    front = Front(whole.rate_hz, layout, lead_block)
    parts = []
    with SoundFile(whole.path) as file:
        file.seek(lead)
        before = front.push(file.read(at - lead, file.native_type)).samples
        keeper = FactsKeeper(at, file.rate_hz, file.full_scale, before)
        room = np.empty((_READ_FRAMES, file.channels), file.native_type)
        while at < end and len(frames := file.read_into(room[: end - at])):
            parts.append(front.push(frames))
            keeper.add_frames(parts[-1].planes)
            at += len(frames)
    return Stretch(front, joined(parts), keeper)


def _one_by_one(file: SoundFile, layout: Layout, reads: Iterator[NDArray[Any]]) -> Iterator[Stretch]:
    front = Front(file.rate_hz, layout)
    before = np.empty((file.channels, 0), np.float32)
    at = 0
    for frames in reads:
        hops = front.push(frames)
        keeper = FactsKeeper(at, file.rate_hz, file.full_scale, before)
        keeper.add_frames(hops.planes)
        yield Stretch(front, hops, keeper)
        before = hops.samples[:, -CLIP_SAMPLES:].copy()
        at += len(frames)


def _reads(file: SoundFile) -> Iterator[NDArray[Any]]:
    """The file's frames; each array is good until the next."""
    room = np.empty((_READ_FRAMES, file.channels), file.native_type)
    while len(frames := file.read_into(room)):
        yield frames


def file_frames(file: SoundFile, first: int, stop: int) -> Iterator[NDArray[Any]]:
    """The frames from *first* up to *stop*, as they are in the file; each array is good until the next.

    Where no place is found to the frame, what comes before is decoded and left.
    """
    at = 0
    if file.finds_frames:
        file.seek(first)
        at = first
    for frames in _reads(file):
        begin, end = max(0, first - at), min(len(frames), stop - at)
        at += len(frames)
        if begin < end:
            yield frames[begin:end]
        if at >= stop:
            return


def _ahead(file: SoundFile, pool: ThreadPoolExecutor) -> Iterator[NDArray[Any]]:
    """As :func:`_reads`, the next being read while the last are looked at."""
    coming = pool.submit(file.read, _READ_FRAMES, file.native_type)
    while len(frames := coming.result()):
        coming = pool.submit(file.read, _READ_FRAMES, file.native_type)
        yield frames
