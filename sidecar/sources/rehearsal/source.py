"""Gives the rehearsal as a source: at its own pace or as fast as it goes, through a fader."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from itertools import chain, repeat
from typing import ClassVar, Literal

import numpy as np

from sidecar.sources import Block
from sidecar.sources.rehearsal.acoustics import RATE_HZ, Sound
from sidecar.sources.rehearsal.fader import HIGHEST_DB, LOWEST_DB, Fader
from sidecar.sources.rehearsal.performance import SLAB, STEMS, mixed, perform
from sidecar.sources.rehearsal.score import DURATION_S, TITLE, cue_sheet

_WAIT_S = 0.1


class RehearsalSource:
    """Four minutes of invented radio, the same to the bit each time, behind a simulated fader.

    block_frames: most frames in a block, at least 1. A block never crosses a boundary of 100 ms, so that each
    100 ms of the programme has exactly one gain; the last block before a boundary may be shorter.
    pace: ``real`` gives each block when its last frame is due on ``clock`` (seconds); one that is late is
    given at once, so that nothing is lost. ``fast`` never waits.
    wait: sleeps for at most the given seconds; the default one ends early when the source is closed.
    loop: starts over at the end, for ever; the duration is then not known.
    apart: gives the stems side by side, each behind a fader of its own, in place of their mix.
    before: a rehearsal that has ended; the faders begin where its faders are.
    """

    stems: ClassVar[tuple[str, ...]] = STEMS
    """Names of the parts that the programme is mixed from, two channels each."""

    title = TITLE
    rate_hz = RATE_HZ

    def __init__(
        self,
        *,
        pace: Literal["real", "fast"] = "real",
        block_frames: int = 1200,
        clock: Callable[[], float] = time.monotonic,
        wait: Callable[[float], object] | None = None,
        loop: bool = False,
        apart: bool = False,
        before: RehearsalSource | None = None,
    ) -> None:
        self._pace = pace
        self._block_frames = block_frames
        self._clock = clock
        self._closed = threading.Event()
        self._halted = threading.Event()
        self._wait = wait or self._closed.wait
        self._loop = loop
        self._fader = Fader(before.fader_db if before else 0.0)
        self.played_s = 0.0
        """How much of the programme has been given."""
        self._stem_faders: dict[str, Fader] = (
            {name: Fader(before.stem_fader_db(name) if before else 0.0) for name in STEMS} if apart else {}
        )
        self.channels = 2 * max(1, len(self._stem_faders))

    @property
    def duration_s(self) -> float | None:
        return None if self._loop else DURATION_S

    @property
    def left_s(self) -> float | None:
        return None if self._loop else max(0.0, DURATION_S - self.played_s)

    def halt(self) -> None:
        if self._pace == "real":
            self._halted.set()

    def go_on(self) -> None:
        self._halted.clear()

    @property
    def fader_db(self) -> float:
        """Position of the fader: the gain of the latest block."""
        return self._fader.position_db

    @property
    def fader_range_db(self) -> tuple[float, float]:
        return LOWEST_DB, HIGHEST_DB

    def stem_fader_db(self, name: str) -> float:
        """Returns where the fader of a stem is; 0 where they are not apart."""
        return self._stem_faders[name].position_db if name in self._stem_faders else 0.0

    def move_fader(self, gain_db: float) -> None:
        """Sends the fader to a place between −60 and +10 dB; callable from any thread.

        It travels at most 0.5 dB in each 100 ms of the programme.
        """
        self._fader.move_to(gain_db)

    def place_fader(self, gain_db: float) -> None:
        """Puts the fader at a place between −60 and +10 dB at once; only before the programme starts."""
        self._fader = Fader(min(max(gain_db, LOWEST_DB), HIGHEST_DB))

    def move_stem(self, name: str, gain_db: float) -> None:
        """Sends the fader of one stem to a place, as :meth:`move_fader`; only where they are apart."""
        self._stem_faders[name].move_to(gain_db)

    def blocks(self) -> Iterator[Block]:
        """The programme from its start, float32, shape (n, 2) with 1 ≤ n ≤ ``block_frames``; apart, two
        channels a stem.

        Ends with the programme or soon after :meth:`close`.
        """
        start_s: float | None = None
        given = 0
        for slab in self._slabs():
            gain_db = self._fader.step()
            stem_gains_db = tuple(fader.step() for fader in self._stem_faders.values()) or None
            frames = mixed(slab) if stem_gains_db is None else _apart(slab, stem_gains_db)
            frames *= np.float32(10.0 ** (gain_db / 20.0))
            # The first sounds take a moment to make: the programme starts when they are ready.
            start_s = self._clock() if start_s is None else start_s
            for at in range(0, SLAB, self._block_frames):
                while self._halted.is_set() and not self._closed.is_set():
                    halted_s = self._clock()
                    self._wait(_WAIT_S)
                    start_s += self._clock() - halted_s
                    yield Block(frames[:0], gain_db=gain_db, stem_gains_db=stem_gains_db)
                block = frames[at : at + self._block_frames].copy()
                given += len(block)
                if not self._is_time(start_s + given / RATE_HZ):
                    return
                self.played_s = given / RATE_HZ
                yield Block(block, gain_db=gain_db, stem_gains_db=stem_gains_db)

    def stem_slabs(self) -> Iterator[Sound]:
        """The stems side by side, before the fader: shape (4800, 8), 100 ms each, as fast as it goes.

        Channels follow :attr:`stems`, left before right; their sum in that order is the programme to the bit.
        """
        for slab in self._slabs():
            yield _apart(slab, (0.0,) * len(STEMS))

    def close(self) -> None:
        """Ends :meth:`blocks` and :meth:`stem_slabs` soon, from any thread; twice is harmless."""
        self._closed.set()

    def _slabs(self) -> Iterator[Sound]:
        passes = repeat(None) if self._loop else repeat(None, 1)
        slabs = round(DURATION_S * RATE_HZ) // SLAB
        for slab in chain.from_iterable(perform(cue_sheet(), slabs) for _ in passes):
            if self._closed.is_set():
                return
            yield slab

    def _is_time(self, due_s: float) -> bool:
        """Waits until a block is due; False when the source was closed."""
        if self._pace == "fast":
            return not self._closed.is_set()
        while not self._closed.is_set() and (ahead_s := due_s - self._clock()) > 0.0:
            self._wait(ahead_s)
        return not self._closed.is_set()


def _apart(slab: Sound, gains_db: tuple[float, ...]) -> Sound:
    """The stems of a slab, shape (stems, frames, 2), side by side behind their faders."""
    gains = np.array(10.0 ** (np.array(gains_db) / 20.0), np.float32)
    return (slab * gains[:, None, None]).transpose(1, 0, 2).reshape(SLAB, -1)
