"""Measuring a finished file from its first frame to its last."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.facts import Facts
from sidecar.delivery.measure.facts_keeper import FactsKeeper
from sidecar.delivery.measure.part import WHOLE, Part, Scope
from sidecar.delivery.measure.stretches import Stretch, part_stretches, stretches
from sidecar.meter import Blocks, Meter
from sidecar.meter.layouts import (
    Layout,
    LayoutOrigin,
    assumed_loudspeakers,
    channel_names,
    choose_layout,
    contradicts,
)
from sidecar.model.readings import BLOCK_S, MOMENTARY_S, SHORT_TERM_S, SILENCE, Reading
from sidecar.model.timecode import FROM_FIRST_FRAME, Clock
from sidecar.sources.remarks import Remark
from sidecar.sources.sound_file import SoundFile

MEASURING = 4
"""Raised by one with every change after which a file may measure otherwise or more is measured of it: an
archive then measures anew what it keeps. ``tests/delivery/test_measuring_version.py`` asks for it."""


@dataclass(frozen=True, slots=True, eq=False)
class BlockSeries:
    """A file in 100 ms blocks; block *k* ends at (k + 1) · 0.1 s. Every array has n rows. Before the first
    whole window, momentary and short-term are ``-inf``, as in silence."""

    energy: NDArray[np.float64]
    """K-weighted, channel-summed mean square, linear."""
    momentary: NDArray[np.float32]
    """LUFS at the end of each block; ``-inf`` in silence."""
    short_term: NDArray[np.float32]
    """LUFS at the end of each block; ``-inf`` in silence."""
    true_peak: NDArray[np.float32]
    """Shape (n, channels): dBTP of each block."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What a file measures. Times are seconds from the file's first frame."""

    file: str
    """Its name, as given."""
    sample_rate: int
    """Hz."""
    channels: int
    """How many the file has."""
    layout: str
    """The one it was measured with, see :class:`Meter`."""
    reading: Reading
    """At its end, which is behind :meth:`Meter.finish`."""
    facts: Facts
    """What else was found in it."""
    max_momentary_at_s: float | None
    """Where the 0.4 s window of the maximum ends; None where all is silent, as with those below."""
    max_short_term_at_s: float | None
    """Where the 3 s window of the maximum ends."""
    max_true_peak_at_s: float | None
    """Where the 100 ms block begins that holds the maximum true peak."""
    history: BlockSeries = field(repr=False, compare=False)
    """Its levels every 100 ms: 16 bytes and 4 a channel a block, 0.9 MB an hour in stereo."""
    layout_from: LayoutOrigin = "assumed"
    """Where the layout comes from: the file names its loudspeakers, ``--layout`` does (here the argument), or
    it is the usual one of so many channels."""
    remarks: tuple[Remark, ...] = ()
    """What is odd about the file as a file, and about the loudspeakers that it names."""
    clock: Clock = FROM_FIRST_FRAME
    """How times in it are written."""

    @property
    def channel_names(self) -> tuple[str, ...]:
        """Positions in the file's order, numbers from 1 where they are not known."""
        return channel_names(self.layout, self.channels)

    @property
    def peak_to_loudness_lu(self) -> float:
        """Maximum true peak over integrated loudness, LU; ``-inf`` where there is no programme."""
        if self.reading.integrated == SILENCE:
            return SILENCE
        return self.reading.max_true_peak - self.reading.integrated


def measure(
    path: str | os.PathLike[str],
    layout: str | None = None,
    progress: Callable[[float], None] = lambda _share: None,
    *,
    workers: int | None = None,
    scope: Scope = WHOLE,
) -> Measured:
    """What a sound file measures, from its first frame to its last (ITU-R BS.1770-5, EBU Tech 3341 and 3342).

    Parameters
    ----------
    path
        WAV, RF64, AIFF, CAF, FLAC, Ogg, MP3: what libsndfile reads. It is read in pieces, so that memory does
        not grow with its length but for :attr:`Measured.history`. A file that is written meanwhile is not
        noticed here; :func:`check` refuses it.
    layout
        As :class:`Meter` takes it; None is the one that the file names, or the usual one for its channels.
    progress
        Called with the share done, 0 to 1, now and then, in the thread of the caller. What it raises ends the
        measuring.
    workers
        Threads that share the work; None is one for each processor. The result does not depend on it.
    scope
        The frames that are measured, as if they were a file of their own, and how times are written
        in sentences. Times are seconds from the first of them.

    Returns
    -------
    Measured
        Levels, what else was found, and the history every 100 ms.

    Raises
    ------
    SourceError
        The file is not there, is not audio, is empty, damaged or cut off.
    SignalError
        Its rate cannot be measured, or no layout is known for its channels.
    """
    histories, part = [], scope.part
    with SoundFile(path) as file:
        chosen, layout_from = choose_layout(layout, file.named.positions, file.channels)
        meter = Meter(file.rate_hz, chosen.name)
        keeper = FactsKeeper(0, file.rate_hz, file.full_scale, np.empty((file.channels, 0), np.float32))
        for stretch in _stretches(file, meter.layout, workers or os.cpu_count() or 1, part):
            meter.take_in(stretch.front, stretch.hops)
            keeper.join(stretch.keeper)
            histories.append(_history(meter.take_blocks()))
            progress(min(1.0, keeper.frames / (part.stop - part.first if part else file.frames)))
        if part is None:
            file.check_complete()
        odd = (*_on_layout(file, chosen, layout_from), *file.remarks())
    meter.finish()
    progress(1.0)
    reading, history = meter.reading(), _joined(histories)
    return Measured(
        os.fspath(path),
        file.rate_hz,
        file.channels,
        chosen.name,
        reading,
        keeper.facts(file.container, file.encoding),
        meter.max_momentary_at_s,
        meter.max_short_term_at_s,
        _highest_at_s(history.true_peak, reading.max_true_peak),
        history,
        layout_from,
        odd,
        replace(scope.clock, start_s=part.first / file.rate_hz) if part else scope.clock,
    )


def _stretches(file: SoundFile, layout: Layout, workers: int, part: Part | None) -> Iterator[Stretch]:
    if part is None:
        return stretches(file, layout, workers)
    return part_stretches(file, layout, part.first, part.stop)


def _on_layout(file: SoundFile, chosen: Layout, layout_from: LayoutOrigin) -> Iterator[Remark]:
    """Where the loudspeakers are in doubt."""
    named, positions = file.named, ",".join(file.named.positions or ())
    if contradicts(chosen, named.positions):
        yield Remark("layout", f"--layout {chosen.name} contradicts the file, which names {positions}.")
    if named.doubt:
        yield Remark("layout", f"{named.doubt} for {file.channels} channels.")
    if assumed := assumed_loudspeakers(chosen.name, layout_from, file.channels):
        yield Remark(
            "layout",
            f"It does not say which loudspeakers its channels feed; {assumed} is assumed. "
            "Give --layout where that is wrong.",
        )


def _history(blocks: Blocks) -> BlockSeries:
    return BlockSeries(
        blocks.energy,
        blocks.momentary.astype(np.float32),
        blocks.short_term.astype(np.float32),
        blocks.true_peaks.astype(np.float32),
    )


def _joined(histories: Sequence[BlockSeries]) -> BlockSeries:
    whole = BlockSeries(
        np.concatenate([history.energy for history in histories]),
        np.concatenate([history.momentary for history in histories]),
        np.concatenate([history.short_term for history in histories]),
        np.concatenate([history.true_peak for history in histories]),
    )
    whole.momentary[: round(MOMENTARY_S / BLOCK_S) - 1] = SILENCE
    whole.short_term[: round(SHORT_TERM_S / BLOCK_S) - 1] = SILENCE
    return whole


def _highest_at_s(true_peak: NDArray[np.float32], highest: float) -> float | None:
    """Where the block of the highest true peak begins; it may be the unfinished one at the end."""
    if highest == SILENCE:
        return None
    blocks = np.append(true_peak.max(axis=1), np.float32(highest))
    return int(blocks.argmax()) * BLOCK_S
