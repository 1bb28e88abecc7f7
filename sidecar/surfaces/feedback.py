"""Feedback to a surface: values of the OSC table at the surface's own addresses. Used on the engine's loop
only."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterator

from sidecar.alerts.rules import FlashLimit
from sidecar.model.headline import programme_gain_db
from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec
from sidecar.osc.codec import Value
from sidecar.osc.sockets.destinations import Destination
from sidecar.osc.sockets.sender import Sender
from sidecar.osc.table.addresses import ALERT_STATES, OUTGOING, Group, Outgoing
from sidecar.surfaces.surface import Surface

_BEAT_S = 1.0
_READING_S = 0.5
"""Between two sets of readings: what is left of 3 changes in a second is for alerts and moves."""
_MOVING: tuple[Group, ...] = ("reading", "run")
"""Groups whose numbers move all the time."""
_LOOK_S = 0.05
_LONGEST_CLOSE_S = 2.0
_NO_STEM: dict[str, Value] = {
    "/stems/names": "",
    "/stems/faders": codec.WIRE_SILENCE,
    "/stems/moves": 0.0,
    "/stems/peaks": codec.WIRE_SILENCE,
}
"""The values of a strip without a stem."""


_Shown = tuple[int, dict[Outgoing, tuple[Value, ...]]]
"""The page of a surface, 1 where it has none, and the values of each row of numbers."""


class SurfaceFeedback:
    """Sends each value when it changes and once a second, in a message of its own, as controls expect it.

    A control shows one value, so of several arguments only the first is sent: of an alert its state. A row
    with one value a stem has one address a stem, or a strip; when the page changes everything is sent.
    Caution: flashing light can cause seizures. Any number may drive a lamp, and lamps lie side by side, so
    all numbers together are limited to 3 changes in any second (``alerts.FlashLimit``). A page that is turned
    is such a change, as every strip then shows another stem. Texts come at once.
    """

    def __init__(
        self, surface: Surface, destination: Destination, *, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._rows = [(row, surface.show[row.path]) for row in OUTGOING if row.path in surface.show]
        self._surface = surface
        self._destination = destination
        self._clock = clock
        self._sender = Sender([destination])
        self._numbers = {row: self._dark(row) for row, _ in self._rows if not row.tags.startswith("s")}
        """The values of each row of numbers that are to be shown."""
        self._limit: FlashLimit[_Shown] = FlashLimit((1, dict(self._numbers)))
        self._reading_due_s = 0.0
        self._sent: dict[str, Value] = {}
        self._page = 1
        self._beat_due_s = 0.0

    def offer(self, snapshot: Snapshot) -> None:
        """Sends what changed in the newest snapshot; returns at once."""
        now_s = self._clock()
        if now_s >= self._beat_due_s or self._is_turned():
            self._beat_due_s = now_s + _BEAT_S
            self._sent.clear()
        page, numbers = self._limit.update(now_s, (self._page, self._renewed(now_s, snapshot)))
        for row, template in self._rows:
            if row in numbers and page != self._page:
                continue  # the numbers of the page before would come to the strips of this one
            values = numbers[row] if row in numbers else self._values(row, snapshot)
            for address, value in self._places(row, template, values):
                if value != self._sent.get(address):
                    self._send(row, address, value)

    async def close(self) -> None:
        """Switches the alerts off and sends the last numbers, once the flash limit allows it: a lamp left lit
        would show a state that no run updates."""
        until_s = self._clock() + _LONGEST_CLOSE_S
        dark = {row: self._dark(row) or values for row, values in self._numbers.items()}
        last = (self._page, dark)
        while self._limit.update(now_s := self._clock(), last) != last and now_s < until_s:
            await asyncio.sleep(_LOOK_S)
        for row, template in self._rows:
            for address, value in self._places(row, template, dark.get(row, ())):
                if row.group == "alert" or value != self._sent.get(address):
                    self._send(row, address, value)
        self._sender.close()

    def _places(self, row: Outgoing, template: str, values: tuple[Value, ...]) -> Iterator[tuple[str, Value]]:
        """Yields address and value of each place where a row is shown; nothing where it has no values."""
        return self._surface.placed(template, values, _NO_STEM.get(row.path, 0.0)) if values else iter(())

    def _is_turned(self) -> bool:
        """Whether the page has changed since the last call."""
        before = self._page
        self._page = self._surface.pages.page if self._surface.pages else before
        return self._page != before

    def _values(self, row: Outgoing, snapshot: Snapshot) -> tuple[Value, ...]:
        """A gain beside no name would be read as the master fader's, so it is that one's there."""
        if row.path == "/move/gain" and "/move/fader" not in self._surface.show:
            return (programme_gain_db(snapshot),)
        return row.read(snapshot)

    def _renewed(self, now_s: float, snapshot: Snapshot) -> dict[Outgoing, tuple[Value, ...]]:
        """Returns the numbers to show; those that move all the time are renewed twice a second."""
        is_due = now_s >= self._reading_due_s
        if is_due:
            self._reading_due_s = now_s + _READING_S
        for row in self._numbers:
            if is_due or row.group not in _MOVING:
                values = self._values(row, snapshot)
                self._numbers[row] = values[:1] if row.group == "alert" else values
        return dict(self._numbers)

    @staticmethod
    def _dark(row: Outgoing) -> tuple[Value, ...]:
        """Returns what switches a lamp of that row off; nothing where it is no alert."""
        return (ALERT_STATES["off"],) if row.group == "alert" else ()

    def _send(self, row: Outgoing, address: str, value: Value) -> None:
        self._sent[address] = value
        self._sender.send_datagram(codec.message(address, row.tags[0], [value]).dgram, self._destination)
