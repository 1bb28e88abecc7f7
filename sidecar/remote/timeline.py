"""A copy of a remote history that grows: requests to send, and answers stored. Pure: time is an argument.

The newest columns are requested first and all the time, then the past, stretch by stretch backwards. A
request whose answer is lost is repeated.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, cast, get_args

import numpy as np
from numpy.typing import NDArray

from sidecar.model.readings import BLOCK_S
from sidecar.model.snapshot import Event, EventKind, Timeline
from sidecar.osc.backlog import COLUMN_TYPE, MOST_EVENTS, MOST_PARTS, PART_COLUMNS
from sidecar.osc.codec import WIRE_SILENCE

Question = tuple[str, tuple[int, ...]]
"""An address below the root, and whole numbers."""

STRETCH = MOST_PARTS * PART_COLUMNS
"""Columns of one request."""

_NEWEST_S = 0.2
_BEHIND_S = 0.06
"""8 parts in so long stay below the rate limit of one sender (``access.PARTS_HZ``)."""
_LOST_S = 0.3
"""Time after which a missing answer is requested again."""
_ROWS = 3
"""Of a part: short-term, integrated, fader. Here the seconds stand before them."""
_FIRST_ROOM = 6_000
_LONGEST = 31 * 24 * 36_000
"""Columns: a month. Ours."""
_MOST_EVENTS = 20_000
"""Ours: more than a run keeps of a pass (``history.MOST_EVENTS``)."""

_NOTHING = np.empty(0, np.float32)


class TimelineCopy:
    """Used by one thread; any other may read :attr:`history`."""

    def __init__(self) -> None:
        self.history = Timeline(_NOTHING, _NOTHING, _NOTHING, _NOTHING)
        """All that is known of the present pass up to its newest column."""
        self._begin(None, 0)
        self._newest_due_s = self._past_due_s = self._events_due_s = -math.inf

    def questions(self, now_s: float) -> Iterator[Question]:
        """Yields the requests that are due now."""
        if now_s >= self._newest_due_s:
            self._newest_due_s = now_s + (_BEHIND_S if self._high < self._size else _NEWEST_S)
            yield "/history", (self._high, STRETCH)
        if self._low > 0 and now_s >= self._past_due_s:
            self._past_asked_s, self._past_due_s = now_s, now_s + _LOST_S
            self._past_goal = max(0, self._low - STRETCH)
            yield "/history", (self._past_goal, self._low - self._past_goal)
        if len(self._events) < self._events_there and now_s >= self._events_due_s:
            self._events_due_s = now_s + _LOST_S
            self._events_goal = len(self._events) + MOST_EVENTS
            yield "/events", (len(self._events),)

    def receive_answer(self, path: str, arguments: tuple[Any, ...]) -> None:
        """Stores one answer; those of an earlier pass are ignored."""
        which_pass, *rest = arguments
        if path == "/history/size":
            self._store_size(which_pass, *rest)
        elif which_pass != self._pass:
            return  # of a pass that is over
        elif path == "/history/part":
            self._store_part(*rest)
        elif path == "/event":
            self._store_event(*rest)

    def _begin(self, which_pass: int | None, size: int) -> None:
        self._pass = which_pass
        self._size = self._low = self._high = size
        """Known without a gap is what lies from low up to high."""
        self._past_goal = size
        self._past_asked_s = -math.inf
        self._base = size
        """The column that the table begins with: what lies before it takes no memory until it has come."""
        self._table: NDArray[np.float32] = np.empty((1 + _ROWS, 0), np.float32)
        self._known: NDArray[np.bool_] = np.empty(0, np.bool_)
        self._events: tuple[Event, ...] = ()
        self._events_there: int = 0
        self._events_goal = 0

    def _store_size(self, which_pass: int, size: int, events: int) -> None:
        size = max(0, min(size, _LONGEST))
        if which_pass != self._pass:
            self._begin(which_pass, size)
            self._newest_due_s = self._past_due_s = self._events_due_s = -math.inf
            self._show()
        self._size, self._events_there = size, min(events, _MOST_EVENTS)

    def _store_part(self, first: int, blob: bytes) -> None:
        rows = np.frombuffer(blob[: len(blob) // (4 * _ROWS) * 4 * _ROWS], COLUMN_TYPE).reshape(-1, _ROWS)
        stop = first + len(rows)
        if first < self._past_goal or stop > self._high + STRETCH:
            return  # not requested
        self._make_room(first, stop)
        place = slice(first - self._base, stop - self._base)
        self._table[1:, place] = np.where(rows == WIRE_SILENCE, -np.inf, rows).T
        self._known[place] = True
        self._high += _run(self._known[self._high - self._base :])
        self._low -= _run(self._known[: self._low - self._base][::-1])
        self._size = max(self._size, self._high)
        if self._low <= self._past_goal:
            self._past_due_s = min(self._past_due_s, self._past_asked_s + _BEHIND_S)
        self._show()

    def _store_event(self, place: int, seconds: float, kind: str, text: str) -> None:
        if place != len(self._events) or place >= _MOST_EVENTS:
            return
        known = cast(EventKind, kind) if kind in get_args(EventKind) else "marker"
        self._events = (*self._events, Event(seconds, known, text))
        if len(self._events) == self._events_goal:
            self._events_due_s = -math.inf
        self._show()

    def _make_room(self, first: int, stop: int) -> None:
        """Allocates new arrays, twice as long, where there is no room; readers of the old ones keep those."""
        have = len(self._known)
        room = max(have, _FIRST_ROOM)
        before = min(max(room, self._base - first), self._base) if first < self._base else 0
        after = max(room, stop - self._base - have) if stop > self._base + have else 0
        if not before and not after:
            return
        self._base -= before
        self._table = np.pad(self._table, ((0, 0), (before, after)))
        self._known = np.pad(self._known, (before, after))
        self._table[0] = np.arange(self._base + 1, self._base + len(self._known) + 1) * BLOCK_S

    def _show(self) -> None:
        known = slice(self._low - self._base, self._high - self._base)
        seconds, short_term, integrated, fader_db = self._table[:, known]
        self.history = Timeline(seconds, short_term, integrated, fader_db, self._events)


def _run(known: NDArray[np.bool_]) -> int:
    """Returns the number of known columns from the first on without a gap."""
    return int(np.argmin(known)) if not known.all() else len(known)
