"""The UDP port of a run: readings out to every target, commands in from this machine."""

from __future__ import annotations

import asyncio
import logging
import socket
import time
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

from sidecar.errors import NetworkError
from sidecar.feed import Command, Snapshot, Target
from sidecar.hero import chosen_move
from sidecar.osc import inbox, wire
from sidecar.osc.table import OUTGOING, ROOT, Group
from sidecar.osc.targets import Destination

if TYPE_CHECKING:  # loading the advice takes its time, and ``sidecar listen`` needs none
    from sidecar.osc.surface import Surface

_RECEIVE_BUFFER = 1 << 20
_BEAT_S = 1.0
_ON_CHANGE: tuple[Group, ...] = ("alert", "move", "stems", "hand", "run")

_log = logging.getLogger(__name__)


def bind(host: str, port: int, option: str = "--osc-port") -> socket.socket:
    """A UDP socket on one address of this machine; port 0 takes any that is free.

    option: what the person can choose another port with.
    Raises NetworkError when the port is taken or the address is not this machine's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    server = socket.socket(family, socket.SOCK_DGRAM)
    try:
        server.bind((host, port))
    except (OSError, OverflowError) as error:
        server.close()
        raise NetworkError(
            f"Cannot listen for OSC on {host}:{port}: {error}. "
            f"Another copy may be running: end it, or choose another port with {option}."
        ) from error
    server.setblocking(False)
    server.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _RECEIVE_BUFFER)
    return server


class OscPort(asyncio.DatagramProtocol):
    """Sends snapshots at a steady rate and passes commands on. Lives on the engine's loop."""

    def __init__(
        self,
        targets: Sequence[Destination],
        *,
        update_hz: float = 10.0,
        surface: Surface | None = None,
        surface_target: Destination | None = None,
    ) -> None:
        """surface: how a workstation speaks of its faders; what it says of them becomes commands.
        surface_target: where :meth:`move_fader` sends to; without it no fader is moved.
        """
        self._targets = targets
        self._surface = surface
        self._surface_target = surface_target
        self._obey: Callable[[Command], None] | None = None
        self._period_s = 1.0 / update_hz
        self._latest: Snapshot | None = None
        self._said: dict[Group, tuple[Any, ...]] = {}
        self._beat_due_s = 0.0
        self._update_due_s = 0.0
        self._timer: asyncio.TimerHandle | None = None
        self._senders: dict[int, asyncio.DatagramTransport] = {}

    async def open(self, server: socket.socket, obey: Callable[[Command], None]) -> None:
        """Takes over a bound socket; sends from it too, so that answers come back to the port that asked.

        obey: takes each command that arrives; called on the loop and must return at once.
        """
        self._obey = obey
        loop = asyncio.get_running_loop()
        transport, _ = await loop.create_datagram_endpoint(lambda: self, sock=server)
        self._senders[server.family] = transport
        for family in {target.family for target in self._all_targets()} - {server.family}:
            other, _ = await loop.create_datagram_endpoint(asyncio.DatagramProtocol, family=family)
            self._senders[family] = other

    async def close(self) -> None:
        """Sends the last snapshot's alerts and state once more, then closes."""
        if self._timer:
            self._timer.cancel()
        if self._latest:
            self._send(self._latest, _ON_CHANGE)
        for transport in self._senders.values():
            transport.close()

    def offer(self, snapshot: Snapshot) -> None:
        """The newest snapshot: what changed goes out at once, readings at the update rate."""
        self._latest = snapshot
        now_s = asyncio.get_running_loop().time()
        beat = now_s >= self._beat_due_s
        if beat:
            self._beat_due_s = now_s + _BEAT_S
        fresh = [group for group in _ON_CHANGE if beat or self._said.get(group) != _content(snapshot, group)]
        if fresh:
            self._send(snapshot, fresh)
        if self._timer is None:
            self._timer = asyncio.get_running_loop().call_later(
                max(0.0, self._update_due_s - now_s), self._update
            )

    def status(self) -> tuple[Target, ...]:
        """How sending to each target goes; may be read from any thread."""
        return tuple(target.status for target in self._all_targets())

    def move_fader(self, position_db: float, stem: int | None = None) -> None:
        """Sends the workstation's programme fader, or that of a stem counted from 1, to *position_db*.

        One datagram from the socket that takes commands, so that the answer comes back to it. Whether the
        fader may be moved is for the caller to know (``advice.arming``).
        """
        target = self._surface_target
        if self._surface and target:
            target.record(self._sent(self._surface.message(position_db, stem).dgram, target))

    def datagram_received(self, data: bytes, addr: tuple[Any, ...]) -> None:
        try:
            messages = wire.parse(data)
        except ValueError as error:
            _log.warning("OSC from %s refused: %s", addr[0], error)
            return
        for address, arguments in messages:
            try:
                asked = self._asked(address, arguments)
            except ValueError as error:
                _log.warning("OSC from %s refused: %s", addr[0], error)
                continue
            if asked and self._obey:
                self._obey(asked)

    def _asked(self, address: str, arguments: list[Any]) -> Command | None:
        """The command of one message; None when there is none in it. Raises ValueError."""
        if self._surface is None or address.startswith(ROOT + "/"):
            return inbox.command(address, arguments)
        # A workstation's feedback tells of much besides its faders, many times a second: no fault.
        return self._surface.feedback(address, arguments)

    def error_received(self, exc: Exception) -> None:
        _log.info("OSC: a target refused a datagram: %s", exc)

    def _update(self) -> None:
        self._timer = None
        now_s = asyncio.get_running_loop().time()
        due_s = self._update_due_s + self._period_s
        self._update_due_s = due_s if due_s > now_s else now_s + self._period_s
        if self._latest:
            self._send(self._latest, ("reading",))

    def _send(self, snapshot: Snapshot, groups: Iterable[Group]) -> None:
        messages = []
        for group in groups:
            self._said[group] = _content(snapshot, group)
            messages += [
                wire.message(ROOT + out.path, out.tags, values)
                for out in OUTGOING
                if out.group == group and (values := out.read(snapshot))
            ]
        for datagram in wire.bundles(messages, time.time()):
            for target in self._targets:
                target.record(self._sent(datagram, target))

    def _all_targets(self) -> tuple[Destination, ...]:
        return (*self._targets, self._surface_target) if self._surface_target else (*self._targets,)

    def _sent(self, datagram: bytes, target: Destination) -> str:
        """Sends one datagram; the fault in words, or nothing."""
        try:
            self._senders[target.family].sendto(datagram, target.address)
        except OSError as error:
            return str(error)
        return ""


def _content(snapshot: Snapshot, group: Group) -> tuple[Any, ...]:
    """What a change of that group is told by. Values that always move are no change."""
    if group == "alert":
        return tuple((alert.name, alert.state) for alert in snapshot.alerts)
    if group == "move":
        return chosen_move(snapshot), snapshot.this_pass is None
    if group == "stems":
        return tuple((stem.name, stem.fader_db, stem.move) for stem in snapshot.stems)
    if group == "hand":
        return (snapshot.hand,)
    return snapshot.transport, snapshot.goal, snapshot.fader_db, snapshot.lost_frames
