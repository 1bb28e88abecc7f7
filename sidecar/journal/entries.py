"""Entries that wait to be written: made by the measuring thread in microseconds, merged by the writer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from sidecar.journal.record import Cut, DialogueBlocks, FaderReport, Floats, Singles, StemBalance
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Event
from sidecar.settings.goals import Goal


@dataclass(frozen=True, slots=True)
class MeasuredBlocks:
    """Blocks that were measured together."""

    first: int
    energy: Floats
    true_peak: Floats
    short_term: Floats
    fader_db: float
    reading: Reading
    stems: StemBalance | None
    dialogue: DialogueBlocks | None = None

    @property
    def next_block(self) -> int:
        """Number of the first block after these."""
        return self.first + len(self.energy)

    @property
    def nbytes(self) -> int:
        return _nbytes(self.energy, self.true_peak, self.stems) + self.short_term.nbytes


@dataclass(frozen=True, slots=True)
class Batch:
    """Blocks that are written together, one row."""

    first: int
    energy: Floats
    true_peak: Singles
    fader_db: Singles
    short_term: Singles
    integrated: Singles
    stems: StemBalance | None
    reading: Reading
    dialogue: DialogueBlocks | None = None

    @property
    def next_block(self) -> int:
        return self.first + len(self.energy)

    @property
    def nbytes(self) -> int:
        return _nbytes(self.energy, self.true_peak, self.stems) + 3 * self.true_peak.nbytes


@dataclass(frozen=True, slots=True)
class Aimed:
    """Another goal is in force."""

    goal: Goal


@dataclass(frozen=True, slots=True)
class Resumed:
    """A recorded pass is resumed."""

    id: int
    blocks: int
    """Number of blocks it had when it was read."""
    holder: int
    """Number of the run that had written it."""


@dataclass(frozen=True, slots=True)
class Ended:
    """The pass is over."""

    at: str
    """UTC, ISO 8601."""
    reading: Reading | None
    dialogue: DialogueLoudness | None = None


Entry = MeasuredBlocks | Batch | Cut | Event | FaderReport | Aimed | Resumed | Ended


def merged(entries: Iterable[Entry]) -> list[Entry]:
    """Returns the entries of one pass in their order, with consecutive blocks merged into one batch."""
    made: list[Entry] = []
    for are_blocks, group in groupby(entries, lambda entry: isinstance(entry, MeasuredBlocks)):
        if are_blocks:
            blocks = [entry for entry in group if isinstance(entry, MeasuredBlocks)]
            made += [_batch(run) for run in _runs(blocks)]
        else:
            made += group
    return made


def _runs(blocks: Sequence[MeasuredBlocks]) -> list[list[MeasuredBlocks]]:
    """Returns *blocks* split where blocks are missing in between."""
    runs = [[blocks[0]]]
    for entry in blocks[1:]:
        if entry.first == runs[-1][-1].next_block:
            runs[-1].append(entry)
        else:
            runs.append([entry])
    return runs


def _batch(run: Sequence[MeasuredBlocks]) -> Batch:
    counts = [len(blocks.energy) for blocks in run]

    def column(values: Iterable[float]) -> Singles:
        return np.repeat(np.fromiter(values, np.float32, len(run)), counts)

    return Batch(
        run[0].first,
        np.concatenate([blocks.energy for blocks in run]),
        np.concatenate([blocks.true_peak for blocks in run]).astype(np.float32),
        column(blocks.fader_db for blocks in run),
        np.concatenate([blocks.short_term for blocks in run]).astype(np.float32),
        column(blocks.reading.integrated for blocks in run),
        _joined([blocks.stems for blocks in run if blocks.stems is not None]),
        run[-1].reading,
        _dialogue([blocks.dialogue for blocks in run if blocks.dialogue is not None]),
    )


def _dialogue(parts: Sequence[DialogueBlocks]) -> DialogueBlocks | None:
    """What was found of blocks in a row is in a row itself."""
    if not parts:
        return None
    return DialogueBlocks(parts[-1].found, parts[0].first, np.concatenate([part.speech for part in parts]))


def _joined(parts: Sequence[StemBalance]) -> StemBalance | None:
    if not parts:
        return None
    return StemBalance(
        np.concatenate([part.covariance for part in parts]).astype(np.float32),
        np.concatenate([part.true_peak for part in parts]).astype(np.float32),
        np.concatenate([part.fader_db for part in parts]).astype(np.float32),
    )


def _nbytes(energy: Floats, true_peak: Floats | Singles, stems: StemBalance | None) -> int:
    size = energy.nbytes + true_peak.nbytes
    if stems is not None:
        size += stems.covariance.nbytes + stems.true_peak.nbytes + stems.fader_db.nbytes
    return size
