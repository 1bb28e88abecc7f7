"""The course of a programme: what it read every 100 ms, and what happened when."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sidecar.feed import Course, Event
from sidecar.vocabulary import BLOCK_S

_ROWS = 3
"""Short-term, integrated, fader. The seconds follow from the place: a day of columns takes 10 MB, not 14."""
_FIRST_ROOM = 6_000


class CourseLog:
    """Grows by a column a block. One thread writes; any other may look at any time."""

    def __init__(self) -> None:
        self._table: NDArray[np.float32] = np.empty((_ROWS, _FIRST_ROOM), np.float32)
        self._size = 0
        self._events: tuple[Event, ...] = ()

    @property
    def seconds(self) -> float:
        return self._size * BLOCK_S

    def restore(self, course: Course) -> None:
        """Begins with the course of a pass that broke off."""
        self._table = np.stack([course.short_term, course.integrated, course.fader_db])
        self._size = course.seconds.size
        self._events = course.events

    def add(self, blocks: int, short_term: float, integrated: float, fader_db: float) -> None:
        """Adds the columns of so many blocks, all with the readings at their end."""
        stop = self._size + blocks
        if stop > self._table.shape[1]:
            # Only what is used of it takes memory: pages that nobody writes to are not there.
            roomier = np.empty((_ROWS, max(stop, 2 * self._table.shape[1], _FIRST_ROOM)), np.float32)
            roomier[:, : self._size] = self._table[:, : self._size]
            self._table = roomier
        self._table[:, self._size : stop] = np.array([[short_term], [integrated], [fader_db]])
        self._size = stop

    def note(self, event: Event) -> None:
        self._events = (*self._events, event)

    def view(self) -> Course:
        """The course so far: views that later columns do not change."""
        size = self._size  # read once, and before the table, which is never smaller
        short_term, integrated, fader_db = self._table[:, :size]
        seconds = (np.arange(1, size + 1) * BLOCK_S).astype(np.float32)
        return Course(seconds, short_term, integrated, fader_db, self._events)
