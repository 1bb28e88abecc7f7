"""What leaves when: snapshots in, datagrams out to each receiver at its own rate. Pure: time is an argument.

Readings leave at the receiver's rate; all else leaves when it changes and once a second, so that a lost
datagram leaves nothing wrong for longer than until the next heartbeat.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

from sidecar.model.headline import chosen_move
from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec, screen_addresses
from sidecar.osc.addresses import ROOT, Group, Outgoing
from sidecar.osc.codec import Value
from sidecar.osc.screen_addresses import Detail
from sidecar.osc.selection import GROUPS, Selection

BEAT_S = 1.0
ON_CHANGE: tuple[Group, ...] = tuple(group for group in GROUPS if group not in ("reading", "mark"))

_READING: tuple[Group, ...] = ("reading",)
_EARLY = 0.5
"""What has just been read leaves at once where it is due within half a period: the rate stays the same, and
nobody waits because the meter and the receiver count their periods from different moments."""
_LATE = 1.0
"""What was not due then is sent only when nothing newer has come for so long: were it sent when due, the next
would not be due when it comes, and each one would wait."""
_TIMER_S = 0.001
"""A timer may fire this much before its time."""


@dataclass(slots=True, eq=False)
class Line:
    """One receiver: what it is sent, and how often readings."""

    selection: Selection
    period_s: float
    send: Callable[[bytes], None]
    """Takes one datagram; returns at once and never raises."""
    due_s: float = 0.0
    is_served: bool = True
    """Whether the latest readings went out to it."""


class Edition:
    """One snapshot as datagrams: each built once, however many are sent it."""

    def __init__(self, snapshot: Snapshot, unix_time_s: float, root: str = ROOT) -> None:
        self.snapshot = snapshot
        self._root = root
        self._unix_time_s = unix_time_s
        self._messages: dict[Outgoing | Detail, list[Any]] = {}
        self._datagrams: dict[tuple[Selection, tuple[Group, ...]], list[bytes]] = {}

    def arguments(self, row: Outgoing) -> tuple[Value, ...]:
        """The arguments of a row; none where there is nothing to tell."""
        return row.read(self.snapshot)

    def datagrams(self, selection: Selection, groups: tuple[Group, ...]) -> list[bytes]:
        """Bundles with what these groups of a selection have to tell."""
        key = selection, groups
        if key not in self._datagrams:
            messages = chain.from_iterable(map(self._told, selection.of_groups(groups)))
            self._datagrams[key] = list(codec.bundles(messages, self._unix_time_s))
        return self._datagrams[key]

    def _told(self, row: Outgoing | Detail) -> list[Any]:
        if row not in self._messages:
            self._messages[row] = [
                codec.message(self._root + row.path, row.tags, values)
                for values in row.messages(self.snapshot)
            ]
        return self._messages[row]


class Publisher:
    """All lines and the latest edition."""

    def __init__(self, root: str = ROOT) -> None:
        self.latest: Edition | None = None
        self._root = root
        self._lines: list[Line] = []
        self._said: dict[Group, tuple[Any, ...]] = {}
        self._beat_due_s = 0.0

    def add_line(self, line: Line, now_s: float) -> None:
        """A receiver more: it is told at once how things stand."""
        self._lines.append(line)
        if self.latest is None:
            return
        _send(self.latest.datagrams(line.selection, ON_CHANGE), line)
        line.is_served = False
        self._send_readings(now_s, _EARLY)

    def remove(self, line: Line) -> None:
        """Nothing more goes there; harmless when nothing did."""
        if line in self._lines:
            self._lines.remove(line)

    def offer(self, snapshot: Snapshot, now_s: float, unix_time_s: float) -> None:
        """The newest snapshot: what changed goes out at once, readings to everybody they are due to."""
        self.latest = Edition(snapshot, unix_time_s, self._root)
        fresh = self._fresh(snapshot, now_s)
        for line in self._lines:
            line.is_served = False
            if fresh:
                _send(self.latest.datagrams(line.selection, fresh), line)
        self._send_readings(now_s, _EARLY)

    def publish_event(self, row: Outgoing, told: Sequence[tuple[Value, ...]], unix_time_s: float) -> None:
        """Tells everybody who is sent that row of what happened, once. told: the arguments of each."""
        messages = [codec.message(self._root + row.path, row.tags, values) for values in told]
        datagrams = list(codec.bundles(messages, unix_time_s))
        for line in self._lines:
            if row in line.selection.rows:
                _send(datagrams, line)

    def due_s(self) -> float | None:
        """When :meth:`send_due` has something to do; None before the next snapshot."""
        waiting = (line for line in self._lines if not line.is_served)
        return min((line.due_s + _LATE * line.period_s for line in waiting), default=None)

    def send_due(self, now_s: float) -> None:
        """Sends the latest readings to everybody who has waited for newer ones in vain."""
        self._send_readings(now_s, -_LATE)

    def _send_readings(self, now_s: float, early: float) -> None:
        """early: by how much of a period they may leave before their time."""
        if self.latest is None:
            return
        for line in self._lines:
            if line.is_served or line.due_s > now_s + _TIMER_S + early * line.period_s:
                continue
            line.is_served = True
            line.due_s = _next(line.due_s, line.period_s, now_s)
            _send(self.latest.datagrams(line.selection, _READING), line)

    def send_last(self) -> None:
        """How things stand, once more to everybody, and the last readings to who has not had them."""
        if self.latest is None:
            return
        for line in self._lines:
            groups = ON_CHANGE if line.is_served else (*ON_CHANGE, *_READING)
            _send(self.latest.datagrams(line.selection, groups), line)

    def _fresh(self, snapshot: Snapshot, now_s: float) -> tuple[Group, ...]:
        """What has something new to say, or has to say it again."""
        beat = now_s >= self._beat_due_s
        if beat:
            self._beat_due_s = _next(self._beat_due_s, BEAT_S, now_s)
        contents = {group: _content(snapshot, group) for group in ON_CHANGE}
        fresh = tuple(group for group in ON_CHANGE if beat or self._said.get(group) != contents[group])
        self._said = contents
        return fresh


def _next(due_s: float, period_s: float, now_s: float) -> float:
    """A steady step on; from now where that has long passed already."""
    step_s = due_s + period_s
    return step_s if step_s > now_s - period_s / 2 else now_s + period_s


def _send(datagrams: Sequence[bytes], line: Line) -> None:
    for datagram in datagrams:
        line.send(datagram)


def _content(snapshot: Snapshot, group: Group) -> tuple[Any, ...]:
    """What a change of that group is told by. Values that always move are no change."""
    if group == "alert":
        return tuple((alert.name, alert.state) for alert in snapshot.alerts)
    if group == "move":
        return chosen_move(snapshot), snapshot.this_pass is None, snapshot.transport == "ended"
    if group == "stems":
        return tuple((stem.name, stem.fader_db, stem.move) for stem in snapshot.stems)
    if group == "hand":
        return (snapshot.hand,)
    if group == "detail":
        return screen_addresses.content(snapshot)
    return snapshot.transport, snapshot.goal, snapshot.fader_db, snapshot.lost_frames, snapshot.guess
