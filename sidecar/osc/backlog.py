"""The history and events so far and the available goals, as packets for a client that attaches late."""

from __future__ import annotations

import contextlib
import logging
import math
import secrets
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

import numpy as np

from sidecar.model.snapshot import Event, Timeline
from sidecar.osc import codec
from sidecar.osc.requests import BacklogRequest
from sidecar.osc.table.addresses import ROOT
from sidecar.osc.table.exchange import ANSWERS
from sidecar.osc.table.screen_addresses import GOAL, NAME_BYTES, numbered
from sidecar.settings.goals import Goal

PART_COLUMNS = 80
"""Columns of one part: 960 bytes."""
MOST_PARTS = 8
"""Parts in the answer to one request, so that one short packet does not cause a flood."""
MOST_EVENTS = 64
_GOALS_S = 5.0
"""Shortest time between two readings of the goal files, however often they are requested."""
_LOOK_S = 0.05
"""The same for the history: copying that of a day takes milliseconds."""

_log = logging.getLogger(__name__)

_TAGS = {answer.path: answer.tags for answer in ANSWERS}

COLUMN_TYPE = np.dtype(">f4")
"""A blob holds, for each column, short-term, integrated and the fader as floats of OSC 1.0."""


class Backlog:
    """Answers requests from a history that grows, and restarts with each reset."""

    def __init__(
        self, history: Callable[[], Timeline], goals: Callable[[], Sequence[Goal]], root: str = ROOT
    ) -> None:
        self._history = history
        self._goals = goals
        self._root = root
        self._pass = 1 + secrets.randbelow(2**30)
        """Number of the pass: another one after a reset, and after a restart of the sidecar."""
        self._goal_packets: list[bytes] = []
        self._goals_due_s = -math.inf
        self._is_reading_goals = threading.Lock()
        self._read_goals()
        self._looked_at: tuple[float, Timeline] | None = None
        self._seen: tuple[int, float, int] = (0, 0.0, 0)
        self._known: tuple[int, int] | None = None
        """A pass, and how many of its events :meth:`news` has returned."""

    def refresh(self) -> Timeline:
        """Returns the history now; call it often enough to notice a restart of the history."""
        history = self._history()
        size, level, events = self._seen
        begun_anew = len(history.seconds) < size or len(history.events) < events
        if begun_anew or (size and float(history.short_term[size - 1]) != level):
            self._pass += 1
            self._looked_at = None
        size = len(history.seconds)
        self._seen = (size, float(history.short_term[-1]) if size else 0.0, len(history.events))
        return history

    def news(self) -> Sequence[Event]:
        """Returns the events since the last call. The first call returns none: a resumed pass starts with its
        earlier events."""
        events = self.refresh().events
        known, self._known = self._known, (self._pass, len(events))
        if known is None:
            return ()
        return events[known[1] :] if known[0] == self._pass else events

    def packets(self, asked: BacklogRequest, now_s: float) -> Iterable[bytes]:
        """Returns the packets that answer one request."""
        match asked.what:
            case "history":
                return self._columns(self._recent_history(now_s), asked.first, asked.count)
            case "events":
                return self._events(self._recent_history(now_s), asked.first)
            case "goals":
                return self.goals(now_s)

    def _recent_history(self, now_s: float) -> Timeline:
        if self._looked_at is None or not 0.0 <= now_s - self._looked_at[0] < _LOOK_S:
            self._looked_at = now_s, self.refresh()
        return self._looked_at[1]

    def _columns(self, history: Timeline, first: int, count: int) -> Iterator[bytes]:
        """Yields the size of the history, then the columns from *first* on, the newest part first."""
        size = len(history.seconds)
        yield self._packet("/history/size", self._pass, size, len(history.events))
        stop = min(first + count, first + MOST_PARTS * PART_COLUMNS, size)
        for start in reversed(range(first, stop, PART_COLUMNS)):
            stretch = slice(start, min(start + PART_COLUMNS, stop))
            rows = np.column_stack(
                [history.short_term[stretch], history.integrated[stretch], history.fader_db[stretch]]
            )
            rows = np.nan_to_num(
                rows, nan=codec.WIRE_SILENCE, neginf=codec.WIRE_SILENCE, posinf=-codec.WIRE_SILENCE
            )
            yield self._packet("/history/part", self._pass, start, rows.astype(COLUMN_TYPE).tobytes())

    def _events(self, history: Timeline, first: int) -> Iterator[bytes]:
        """Yields the events from place *first* on, the oldest first."""
        wanted = history.events[first : first + MOST_EVENTS]
        return codec.bundles(
            (
                self._answer(
                    "/event",
                    self._pass,
                    place,
                    event.seconds,
                    event.kind,
                    codec.clipped(event.text, NAME_BYTES),
                )
                for place, event in enumerate(wanted, first)
            ),
            time.time(),
        )

    def goals(self, now_s: float) -> Sequence[bytes]:
        """Returns every goal that a command may name, as last read. Goals older than _GOALS_S are read again
        in another thread, for the next request: a disk that does not answer must not block the loop."""
        if now_s >= self._goals_due_s and not self._is_reading_goals.locked():
            self._goals_due_s = now_s + _GOALS_S
            with contextlib.suppress(RuntimeError):  # no thread can be started: the next request tries again
                threading.Thread(target=self._read_goals, name="goals", daemon=True).start()
        return self._goal_packets

    def _read_goals(self) -> None:
        with self._is_reading_goals:
            try:
                goals = self._goals()
            except Exception as error:
                _log.warning("the goals cannot be read: %r", error)
                return
            messages = [
                self._answer("/goals/goal", place, count, *arguments)
                for place, count, *arguments in numbered([GOAL.encode(goal) for goal in goals])
            ]
            self._goal_packets = list(codec.bundles(messages, time.time()))

    def _answer(self, path: str, *values: codec.Value) -> Any:
        return codec.message(self._root + path, _TAGS[path], values)

    def _packet(self, path: str, *values: codec.Value) -> bytes:
        datagram: bytes = self._answer(path, *values).dgram
        return datagram
