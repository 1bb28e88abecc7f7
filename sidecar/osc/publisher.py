"""Schedules what is sent: snapshots in, datagrams out at each receiver's rate. Pure: time is an argument.

Readings are sent at the receiver's rate; all else is sent when it changes and once a second, so that after a
lost datagram a receiver is wrong until the next heartbeat at most.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

from sidecar.model.headline import chosen, chosen_move
from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec
from sidecar.osc.codec import Value
from sidecar.osc.table import screen_addresses
from sidecar.osc.table.addresses import ROOT, Group, Outgoing
from sidecar.osc.table.screen_addresses import Detail
from sidecar.osc.table.selection import GROUPS, Selection

BEAT_S = 1.0
ON_CHANGE: tuple[Group, ...] = tuple(group for group in GROUPS if group not in ("reading", "mark"))

_READING: tuple[Group, ...] = ("reading",)
_EARLY = 0.5
"""Periods by which readings may be sent early. A new reading that is due within half a period is sent at
once: the rate stays the same, and no reading is delayed by the phase between meter and receiver."""
_LATE = 1.0
"""Periods for which a reading that was not due waits for a newer one: were it sent when due, the next would
not be due when it comes, and each one would wait."""
_TIMER_S = 0.001
"""A timer may fire this much before its time."""


@dataclass(slots=True, eq=False)
class Line:
    """One receiver: its selection, and the period of its readings."""

    selection: Selection
    period_s: float
    send: Callable[[bytes], None]
    """Takes one datagram; returns at once and never raises."""
    due_s: float = 0.0
    is_served: bool = True
    """Whether the latest readings were sent to it."""


class Edition:
    """One snapshot as datagrams, each built once for all receivers."""

    def __init__(self, snapshot: Snapshot, unix_time_s: float, root: str = ROOT) -> None:
        self.snapshot = snapshot
        self._root = root
        self._unix_time_s = unix_time_s
        self._messages: dict[Outgoing | Detail, list[Any]] = {}
        self._datagrams: dict[tuple[Selection, tuple[Group, ...]], list[bytes]] = {}

    def arguments(self, row: Outgoing) -> tuple[Value, ...]:
        """Returns the arguments of a row; none where the snapshot has no value for it."""
        return row.read(self.snapshot)

    def datagrams(self, selection: Selection, groups: tuple[Group, ...]) -> list[bytes]:
        """Returns bundles with the values of these groups of a selection."""
        key = selection, groups
        if key not in self._datagrams:
            messages = chain.from_iterable(map(self._row_messages, selection.of_groups(groups)))
            self._datagrams[key] = list(codec.bundles(messages, self._unix_time_s))
        return self._datagrams[key]

    def _row_messages(self, row: Outgoing | Detail) -> list[Any]:
        if row not in self._messages:
            self._messages[row] = [
                codec.message(self._root + row.path, row.tags, values)
                for values in row.messages(self.snapshot)
            ]
        return self._messages[row]


class Publisher:
    """Sends the latest edition to all lines."""

    def __init__(self, root: str = ROOT) -> None:
        self.latest: Edition | None = None
        self._root = root
        self._lines: list[Line] = []
        self._contents: dict[Group, tuple[Any, ...]] = {}
        self._beat_due_s = 0.0

    def add_line(self, line: Line, now_s: float) -> None:
        """Adds a receiver, and sends it the latest values at once."""
        self._lines.append(line)
        if self.latest is None:
            return
        _send(self.latest.datagrams(line.selection, ON_CHANGE), line)
        line.is_served = False
        self._send_readings(now_s, _EARLY)

    def remove(self, line: Line) -> None:
        """Removes a receiver; does nothing where it was not added."""
        if line in self._lines:
            self._lines.remove(line)

    def offer(self, snapshot: Snapshot, now_s: float, unix_time_s: float) -> None:
        """Sends what changed in the newest snapshot at once, and readings to receivers where they are due."""
        self.latest = Edition(snapshot, unix_time_s, self._root)
        fresh = self._fresh(snapshot, now_s)
        for line in self._lines:
            line.is_served = False
            if fresh:
                _send(self.latest.datagrams(line.selection, fresh), line)
        self._send_readings(now_s, _EARLY)

    def publish_event(
        self, row: Outgoing, arguments: Sequence[tuple[Value, ...]], unix_time_s: float
    ) -> None:
        """Sends one message for each event, once, to each receiver of that row.

        arguments: those of each message.
        """
        messages = [codec.message(self._root + row.path, row.tags, values) for values in arguments]
        datagrams = list(codec.bundles(messages, unix_time_s))
        for line in self._lines:
            if row in line.selection.rows:
                _send(datagrams, line)

    def due_s(self) -> float | None:
        """Returns when :meth:`send_due` has readings to send; None before the next snapshot."""
        waiting = (line for line in self._lines if not line.is_served)
        return min((line.due_s + _LATE * line.period_s for line in waiting), default=None)

    def send_due(self, now_s: float) -> None:
        """Sends the latest readings to each receiver for which no newer ones came in time."""
        self._send_readings(now_s, -_LATE)

    def _send_readings(self, now_s: float, early: float) -> None:
        """Sends readings that are due. early: periods by which they may be sent before their time."""
        if self.latest is None:
            return
        for line in self._lines:
            if line.is_served or line.due_s > now_s + _TIMER_S + early * line.period_s:
                continue
            line.is_served = True
            line.due_s = _next(line.due_s, line.period_s, now_s)
            _send(self.latest.datagrams(line.selection, _READING), line)

    def send_last(self) -> None:
        """Sends the latest values once more to each receiver, and the last readings where not sent yet."""
        if self.latest is None:
            return
        for line in self._lines:
            groups = ON_CHANGE if line.is_served else (*ON_CHANGE, *_READING)
            _send(self.latest.datagrams(line.selection, groups), line)

    def _fresh(self, snapshot: Snapshot, now_s: float) -> tuple[Group, ...]:
        """Returns the groups that changed; all of them when the heartbeat is due."""
        beat = now_s >= self._beat_due_s
        if beat:
            self._beat_due_s = _next(self._beat_due_s, BEAT_S, now_s)
        contents = {group: _content(snapshot, group) for group in ON_CHANGE}
        fresh = tuple(group for group in ON_CHANGE if beat or self._contents.get(group) != contents[group])
        self._contents = contents
        return fresh


def _next(due_s: float, period_s: float, now_s: float) -> float:
    """Returns the next due time: one period after *due_s*, or after now where that has long passed."""
    step_s = due_s + period_s
    return step_s if step_s > now_s - period_s / 2 else now_s + period_s


def _send(datagrams: Sequence[bytes], line: Line) -> None:
    for datagram in datagrams:
        line.send(datagram)


def _content(snapshot: Snapshot, group: Group) -> tuple[Any, ...]:
    """Returns the values whose change counts as a change of that group; moving values are left out."""
    if group == "alert":
        return tuple((alert.name, alert.state) for alert in snapshot.alerts)
    if group == "move":
        return chosen_move(snapshot), chosen(snapshot).scope
    if group == "stems":
        return tuple((stem.name, stem.fader_db, stem.move) for stem in snapshot.stems)
    if group == "auto":
        return (snapshot.arm,)
    if group == "detail":
        return screen_addresses.content(snapshot)
    return (
        snapshot.transport,
        snapshot.goal,
        snapshot.fader_db,
        snapshot.dropped_samples,
        snapshot.script_fault,
    )
