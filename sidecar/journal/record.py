"""What the journal keeps of a pass: what is written, and what is read back."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import BLOCK_S, SILENCE, Reading
from sidecar.model.snapshot import Event, Timeline
from sidecar.settings.goals import Goal

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.int64]
Number = TypeVar("Number", np.float32, np.float64)


@dataclass(frozen=True, slots=True)
class Pass:
    """What is known of a pass when it begins."""

    source: str
    """The title of the source."""
    rate_hz: int
    layout: str
    goal: Goal
    stems: tuple[str, ...] = ()
    """Names of the stems where they are metered apart."""
    layout_from: str = ""
    """Where the layout came from: ``file``, ``--layout`` or ``assumed``; empty for passes of before that was
    kept."""


@dataclass(frozen=True, slots=True)
class FaderReport:
    """One report on a fader: a position, or a move by hand. The reports give the fader's whole history; the
    first position counts for all that came before it."""

    at_s: float
    """Seconds of programme from which it holds."""
    value_db: float
    is_position: bool
    """True where *value_db* is a position, False where it is the change of a move."""
    stem: str = ""
    """The stem whose fader it is; empty for the master fader."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A place where one block does not follow the one before: a loss, a pause, a break of the run."""

    block: int
    """The first block behind it."""
    dropped_samples: int = 0
    """samples dropped there; 0 where none were, as in a pause."""


@dataclass(frozen=True, slots=True)
class StemBalance:
    """Blocks of N stems, as metered."""

    covariance: NDArray[np.floating]
    """K-weighted, channel-summed mean products, linear, shape (n, N, N)."""
    true_peak: NDArray[np.floating]
    """dBTP, shape (n, N)."""
    fader_db: NDArray[np.floating]
    """Faders in force, shape (n, N)."""


SEARCHED = 1


@dataclass(frozen=True, slots=True)
class DialogueBlocks:
    """What is known of the dialogue of a pass, and what was found since the last that were recorded."""

    found: DialogueLoudness
    first: int = 0
    """Number of the block that *speech* begins with."""
    speech: NDArray[np.uint8] = field(default_factory=lambda: np.empty(0, np.uint8))
    """Blocks that were searched automatically, shape (m,): :data:`SEARCHED` where no speech was found, else
    how probable it is, up to 255. 0 marks those that were not searched."""


@dataclass(frozen=True, slots=True)
class Summary:
    """One pass in the list of passes."""

    id: int
    about: Pass
    """Its goal is the last one that was in force."""
    version: str
    """Of the program that wrote it."""
    began: datetime
    """UTC. The clock may have been set since: passes are in the order of their ids."""
    ended: datetime | None
    """UTC; None while it runs, or when it broke off."""
    blocks: int
    """100 ms blocks from its beginning to its end, missing ones included."""
    dropped_samples: int
    missing_blocks: int
    """Those that were measured and that the disk would not take."""
    reading: Reading
    """As last read: a missing stretch counts in it."""
    holder: int
    """Number of the run that wrote it last."""
    dialogue: DialogueLoudness | None = None
    """What the dialogue read, where it was measured."""


@dataclass(frozen=True, slots=True)
class Damaged:
    """One pass in the list of passes that cannot be read."""

    id: int | None
    """None where it is the record itself that the passes are read past."""
    why: str
    """In words, the end of a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class Record:
    """One pass, whole. The arrays have one entry a block on record, shape (n,)."""

    summary: Summary
    place: Places
    """Number of each block, from 0, ascending; a number that is not there is missing from the record."""
    energy: Floats
    """K-weighted, channel-summed mean squares, linear."""
    true_peak: Singles
    """Highest of all channels, dBTP."""
    fader_db: Singles
    """Position of the master fader, as was known then."""
    short_term: Singles
    """LUFS at the end of each block."""
    integrated: Singles
    """LUFS, as read behind the blocks that were taken in together."""
    stems: StemBalance | None
    cuts: tuple[Cut, ...]
    events: tuple[Event, ...]
    fader_reports: tuple[FaderReport, ...]
    damage: str = ""
    """What of it can no longer be read, in words; empty where all can."""
    speech: NDArray[np.uint8] = field(default_factory=lambda: np.empty(0, np.uint8))
    """As in :class:`DialogueBlocks`, from the first block to the last one that was searched: shape (m,)."""

    @property
    def missing(self) -> tuple[tuple[int, int], ...]:
        """(first block, blocks) of each stretch that the disk would not take, or has damaged since."""
        edges = np.concatenate([[-1], self.place, [self.summary.blocks]])
        steps = np.flatnonzero(np.diff(edges) > 1)
        return tuple((int(edges[i]) + 1, int(edges[i + 1] - edges[i] - 1)) for i in steps)

    def laid_out(self, values: NDArray[Number], missing: float) -> NDArray[Number]:
        """*values*, one a block on record, at their places in the programme: shape (blocks,)."""
        whole = np.full(self.summary.blocks, missing, values.dtype)
        whole[self.place] = values
        return whole

    def timeline(self) -> Timeline:
        """As the screen draws it. A missing stretch is silent, with integrated and fader as before it."""
        blocks = np.arange(self.summary.blocks)
        latest = np.searchsorted(self.place, blocks, side="right")

        def held(values: Singles, first: float) -> Singles:
            return np.concatenate([np.array([first], np.float32), values])[latest]

        return Timeline(
            ((blocks + 1) * BLOCK_S).astype(np.float32),
            self.laid_out(self.short_term, SILENCE),
            held(self.integrated, SILENCE),
            held(self.fader_db, 0.0),
            self.events,
        )
