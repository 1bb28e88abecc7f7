"""The history of a programme: what it read every 100 ms, and what happened when."""

from __future__ import annotations

import threading

import numpy as np
from numpy.typing import NDArray

from sidecar.loudness.series import Steps
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
        self._viewing = threading.Lock()
        self._viewed: NDArray[np.float32] = np.empty((2, 0), np.float32)
        """Seconds and faders, as far as they were looked at: a view costs what is new since the last one."""
        self._viewed_size = 0
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
        self._faders_db.append(history.fader_db.astype(np.float64))
        self._add(len(history.seconds), history.short_term, history.integrated)

    def add_columns(self, blocks: int, short_term: float, integrated: float, fader_db: float) -> None:
        """Adds the columns of so many blocks, all with the readings at their end."""
        self._faders_db.repeat(fader_db, blocks)
        self._add(blocks, short_term, integrated)

    def _add(
        self, blocks: int, short_term: NDArray[np.float32] | float, integrated: NDArray[np.float32] | float
    ) -> None:
        """Behind their faders: a column that can be seen has all its values."""
        stop = self._size + blocks
        if stop > self._table.shape[1]:
            self._table = _roomier(self._table, self._size, stop)
        self._table[0, self._size : stop] = short_term
        self._table[1, self._size : stop] = integrated
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
        with self._viewing:
            self._view_to(size)
            seconds, fader_db = self._viewed[:, :size]
        return Timeline(seconds, short_term, integrated, fader_db, self._events)

    def _view_to(self, size: int) -> None:
        seen = self._viewed_size
        if size <= seen:
            return
        if size > self._viewed.shape[1]:
            self._viewed = _roomier(self._viewed, seen, size)
        self._viewed[0, seen:size] = np.arange(seen + 1, size + 1, dtype=np.float32) / np.float32(_PER_S)
        self._viewed[1, seen:size] = self._faders_db.part(seen, size)
        self._viewed_size = size


def _roomier(table: NDArray[np.float32], used: int, needed: int) -> NDArray[np.float32]:
    """Returns a table with what is used of *table*, and room for as many columns as needed."""
    made = np.empty((len(table), max(needed, 2 * table.shape[1])), np.float32)
    made[:, :used] = table[:, :used]
    return made
