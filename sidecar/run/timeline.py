"""The history of a programme: what it read every 100 ms, and what happened when."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sidecar.loudness.series import Floats, Steps
from sidecar.model.readings import BLOCK_S
from sidecar.model.snapshot import Event, Timeline

_PER_S = round(1.0 / BLOCK_S)
_FIRST_ROOM = 24 * 3600 * _PER_S
"""A day. Only what is used of it takes memory: pages that are never written are not allocated."""
MOST_EVENTS = 10_000
"""Ours. Each is sent to every screen that attaches, and drawn."""


class TimelineLog:
    """Grows by a column a block. One thread writes; any other may look at any time."""

    def __init__(self) -> None:
        self._table: NDArray[np.float32] = np.empty((2, _FIRST_ROOM), np.float32)
        """Short-term and integrated; the seconds follow from the place."""
        self._faders_db = Steps()
        self._size = 0
        self._events: tuple[Event, ...] = ()

    @property
    def seconds(self) -> float:
        return self._size * BLOCK_S

    @property
    def is_full(self) -> bool:
        """True once there are as many events as a pass should have; what is noted all the same is kept."""
        return len(self._events) >= MOST_EVENTS

    def restore(self, history: Timeline) -> None:
        """Begins with the history of a pass that broke off."""
        self._events = history.events
        self._add(history.short_term, history.integrated, history.fader_db.astype(np.float64))

    def add_columns(self, blocks: int, short_term: float, integrated: float, fader_db: float) -> None:
        """Adds the columns of so many blocks, all with the readings at their end."""
        self._add(short_term, integrated, np.full(blocks, fader_db))

    def _add(
        self,
        short_term: NDArray[np.float32] | float,
        integrated: NDArray[np.float32] | float,
        faders_db: Floats,
    ) -> None:
        stop = self._size + len(faders_db)
        if stop > self._table.shape[1]:
            roomier = np.empty((2, max(stop, 2 * self._table.shape[1])), np.float32)
            roomier[:, : self._size] = self._table[:, : self._size]
            self._table = roomier
        self._table[0, self._size : stop] = short_term
        self._table[1, self._size : stop] = integrated
        self._faders_db.append(faders_db)
        self._size = stop

    def add_event(self, event: Event) -> None:
        self._events = (*self._events, event)

    @property
    def events(self) -> tuple[Event, ...]:
        return self._events

    def view(self) -> Timeline:
        """The history so far: views that later columns do not change."""
        size = self._size  # read once, and before the table, which is never smaller
        short_term, integrated = self._table[:, :size]
        fader_db = self._faders_db.part(0, size).astype(np.float32)
        seconds = np.arange(1, size + 1, dtype=np.float32) / np.float32(_PER_S)
        return Timeline(seconds, short_term, integrated, fader_db, self._events)
