"""The port of a run: one UDP socket, and where asked for one TCP port, on the engine's loop."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import logging
import os
import socket
import time
from collections import deque
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from sidecar.errors import NetworkError
from sidecar.hosts import checked_port, why_unbound
from sidecar.model.commands import FaderAt, StemFaderAt
from sidecar.model.snapshot import Event, FaderFeedback, FaderTouch, Feed, Snapshot, Target
from sidecar.osc.access import AccessPolicy, Network, is_this_machine
from sidecar.osc.backlog import Backlog
from sidecar.osc.codec import clipped
from sidecar.osc.publisher import Line, Publisher
from sidecar.osc.server import OscServer, Submit
from sidecar.osc.sockets.destinations import Destination
from sidecar.osc.sockets.sender import hand_over
from sidecar.osc.sockets.tcp import Stream, Streams
from sidecar.osc.table.addresses import MARKED, ROOT, checked_root
from sidecar.osc.table.screen_addresses import NAME_BYTES
from sidecar.osc.workstation import Workstation

Report = Callable[[FaderFeedback | FaderTouch], None]

_BUFFER = 1 << 20
_MOST_WAITING = 4096
_TURN_S = 0.005
"""Longest time of handling packets before the socket is emptied again."""
_LARGEST_DATAGRAM = 65_535
_STREAM_BUFFER = 1 << 16
"""Systems let it grow to megabytes, and a connection that is not read would be noticed only then."""

_log = logging.getLogger(__name__)


def bind(
    host: str, port: int, option: str = "--osc-port", kind: socket.SocketKind = socket.SOCK_DGRAM
) -> socket.socket:
    """Returns a socket bound to one address of this machine; port 0 takes any that is free.

    option: the option that chooses the port, for the error message.
    Raises NetworkError when the port is taken or none, or the address is not this machine's.
    """
    checked_port(port, option)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    server = socket.socket(family, kind)
    try:
        if kind == socket.SOCK_STREAM and os.name == "posix":
            # Else the port stays taken for a minute after a run that had connections.
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if kind == socket.SOCK_STREAM:  # a machine that was switched off sends no FIN (RFC 1122 §4.2.3.6)
            server.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        server.bind((host, port))
    except OSError as error:
        server.close()
        taken = error.errno == errno.EADDRINUSE
        raise NetworkError(
            f"Cannot listen for OSC on {host}:{port}: {why_unbound(error, host)}. "
            + (
                "Another copy may be running: end it, or choose"
                if taken
                else "Give one that it has, or choose"
            )
            + f" another port with {option}."
        ) from error
    server.setblocking(False)
    if kind == socket.SOCK_DGRAM:
        server.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
        server.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _BUFFER)
    else:
        server.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _STREAM_BUFFER)
    return server


@dataclass(frozen=True, slots=True)
class _Correspondent:
    """The sender of a datagram."""

    destination: Destination
    port: OscPort

    @property
    def key(self) -> Hashable:
        return self.destination.address

    @property
    def host(self) -> str:
        return self.destination.address[0]

    @property
    def is_proven(self) -> bool:
        return is_this_machine(self.host)

    @property
    def status(self) -> Target:
        return self.destination.status

    def send_packet(self, packet: bytes) -> None:
        self.port.post(self.destination, packet)


class OscPort(asyncio.DatagramProtocol):
    """Sends snapshots to targets and watchers, and passes commands on. Used on the engine's loop only."""

    def __init__(
        self,
        targets: Sequence[Destination],
        *,
        update_hz: float = 10.0,
        allow: Sequence[Network] = (),
        link: Workstation | None = None,
        root: str = ROOT,
    ) -> None:
        """update_hz: readings a second, unless a receiver asks for fewer.
        allow: networks that may send besides this machine.
        link: how a workstation's faders are reached; without it no fader is moved.
        root: what the addresses of this run begin with.

        Raises NetworkError for an invalid root, or one above a feedback address of the surface.
        """
        self._root = checked_root(root)
        if link:
            _refuse_shared_root(link, root)
        self._targets = targets
        self._link = link
        if link:
            link.connect(partial(self.post, link.target))
        self._publisher = Publisher(root)
        for target in targets:
            period_s = 1.0 / min(target.rate_hz or update_hz, update_hz)
            self._publisher.add_line(Line(target.selection, period_s, partial(self.post, target)), 0.0)
        access = AccessPolicy(allow, link.peer.host if link else None)
        self._osc_server = OscServer(access, self._publisher, update_hz=update_hz, link=link, root=root)
        self._streams = Streams(access, self._osc_server.drops, self._take, ended=self._osc_server.end)
        self._timer: asyncio.TimerHandle | None = None
        self._server: socket.socket | None = None
        self._host = ""
        self._others: dict[socket.AddressFamily, socket.socket] = {}
        self._transport: asyncio.DatagramTransport | None = None
        self._waiting: deque[tuple[bytes, tuple[Any, ...]]] = deque()
        self._is_working = False

    async def open(
        self,
        server: socket.socket,
        submit: Submit,
        streams: socket.socket | None = None,
        *,
        report_fader: Report | None = None,
        feed: Feed | None = None,
    ) -> None:
        """Receives on a bound socket, and sends from it too, so that receivers can answer to its port.

        A destination that it cannot reach, of another address family or, from 127.0.0.1, on another machine,
        is sent to from a socket of its own, on which no answers are received.

        submit: called with each command that arrives, on the loop; must return at once.
        streams: a bound TCP socket for the same messages.
        report_fader: called with each fader position of the workstation, and each touch, on the loop as well.
        feed: source of the earlier history and events, and of the goals, for watchers.
        Raises NetworkError when the workstation of the surface could not answer.
        """
        host, workstation = server.getsockname()[0], self._link.target if self._link else None
        if workstation and is_this_machine(host) and not is_this_machine(workstation.address[0]):
            raise NetworkError(
                f"The workstation at {workstation.name} cannot report its fader: OSC is received on "
                f"{host} only. Give --osc-bind an address of this machine that it reaches."
            )
        self._osc_server.submit = submit
        if report_fader:
            self._osc_server.report_fader = partial(self._report_fader, report_fader)
        self._osc_server.later = partial(_call_later, asyncio.get_running_loop())
        if feed:
            self._osc_server.archive = Backlog(feed.timeline, feed.goals, self._root)
        self._server, self._host = server, host
        for family in {target.family for target in self._all_targets() if self._sender(target) is None}:
            self._others[family] = socket.socket(family, socket.SOCK_DGRAM)
            self._others[family].setblocking(False)
        loop = asyncio.get_running_loop()
        self._transport, _ = await loop.create_datagram_endpoint(lambda: self, sock=server)
        if streams:
            await self._streams.start(streams)

    async def close(self) -> None:
        """Sends the last snapshot's alerts and state once more, then closes."""
        if self._timer:
            self._timer.cancel()
        self._publisher.send_last()
        self._streams.close()
        if self._transport:
            self._transport.close()
        for other in self._others.values():
            other.close()

    def offer(self, snapshot: Snapshot) -> None:
        """Sends what changed in the newest snapshot at once, and readings to receivers where they are due."""
        now_s = asyncio.get_running_loop().time()
        self._osc_server.expire(now_s)
        self._publisher.offer(snapshot, now_s, time.time())
        if snapshot.transport != "preparing":  # until then a resumed pass may still be read
            self._publish_marks(self._osc_server.news())
        self._wind()

    def _publish_marks(self, events: Sequence[Event]) -> None:
        marks = [
            (event.seconds, clipped(event.text, NAME_BYTES)) for event in events if event.kind == "marker"
        ]
        self._publisher.publish_event(MARKED, marks, time.time())

    def status(self) -> tuple[Target, ...]:
        """Returns counts of datagrams for each target and watcher; may be called from any thread."""
        targets = tuple(target.status for target in self._all_targets())
        return targets + self._osc_server.watchers.status()

    def _report_fader(self, report: Report, feedback: FaderAt | StemFaderAt | FaderTouch) -> None:
        """Confirms a position to the fader's guard, then reports it to the engine."""
        if self._link is None:
            return
        match feedback:
            case FaderAt(position_db):
                report(FaderFeedback(position_db, self._link.fader.confirm(position_db)))
            case StemFaderAt(stem, position_db):
                report(FaderFeedback(position_db, self._link.fader.clock(), stem))
            case FaderTouch():
                report(feedback)

    def post(self, destination: Destination, datagram: bytes) -> None:
        """Hands one datagram to the network and records the outcome.

        It bypasses asyncio's transport, which would queue a datagram that one destination does not take, and
        delay all others.
        """
        sender = self._sender(destination)
        if sender:
            hand_over(sender, datagram, destination)

    def datagram_received(self, data: bytes, addr: tuple[Any, ...]) -> None:
        self._admit(data, addr)
        if not self._is_working:
            self._work()

    def _admit(self, data: bytes, addr: tuple[Any, ...]) -> None:
        """Queues a packet. A disarm is handled at once, and again in its turn: an arm sent before it must not
        take effect after it."""
        if self._osc_server.is_disarm(data):
            self._take_datagram(data, addr)
        if len(self._waiting) < _MOST_WAITING:
            self._waiting.append((data, addr))
        else:
            now_s = asyncio.get_running_loop().time()
            self._osc_server.drops.count("rate", addr[0], "too many packets at once", now_s)

    def _work(self) -> None:
        """Empties the socket, so that a disarm behind a flood is found, and handles queued packets for
        _TURN_S."""
        for _ in range(_MOST_WAITING):
            try:
                self._admit(*self._server.recvfrom(_LARGEST_DATAGRAM))  # type: ignore[union-attr]
            except OSError:  # the socket is empty; the transport reports other errors
                break
        loop = asyncio.get_running_loop()
        end_s = loop.time() + _TURN_S
        while self._waiting and loop.time() < end_s:
            self._take_datagram(*self._waiting.popleft())
        self._is_working = bool(self._waiting)
        if self._is_working:
            loop.call_soon(self._work)

    def _take_datagram(self, data: bytes, addr: tuple[Any, ...]) -> None:
        family = socket.AF_INET6 if ":" in addr[0] else socket.AF_INET
        name = f"[{addr[0]}]:{addr[1]}" if family == socket.AF_INET6 else f"{addr[0]}:{addr[1]}"
        self._take(data, _Correspondent(Destination(name, family, addr), self))

    def error_received(self, exc: Exception) -> None:
        _log.info("OSC: a target refused a datagram: %s", exc)

    def _take(self, packet: bytes, peer: _Correspondent | Stream) -> None:
        self._osc_server.receive_packet(packet, peer, asyncio.get_running_loop().time())
        if self._link:
            self._link.fader.stranger = self._osc_server.stranger
        self._wind()

    def _wind(self) -> None:
        """Sets the timer to when readings are due next."""
        due_s = self._publisher.due_s()
        if self._timer and self._timer.when() == due_s:
            return
        if self._timer:
            self._timer.cancel()
        self._timer = None if due_s is None else asyncio.get_running_loop().call_at(due_s, self._ring)

    def _ring(self) -> None:
        self._timer = None
        self._publisher.send_due(asyncio.get_running_loop().time())
        self._wind()

    def _sender(self, destination: Destination) -> socket.socket | None:
        """Returns a socket that can reach the destination; None where none is open."""
        server = self._server
        is_near = is_this_machine(destination.address[0]) or not is_this_machine(self._host)
        if server and server.family == destination.family and is_near:
            return server
        return self._others.get(destination.family)

    def _all_targets(self) -> tuple[Destination, ...]:
        return (*self._targets, self._link.target) if self._link else (*self._targets,)


def _call_later(loop: asyncio.AbstractEventLoop, call: Callable[[float], None]) -> None:
    with contextlib.suppress(RuntimeError):  # the loop is closed, or closing
        loop.call_soon_threadsafe(lambda: call(loop.time()))


def _refuse_shared_root(link: Workstation, root: str) -> None:
    for place in link.addresses:
        if place.startswith(f"{root}/"):
            raise NetworkError(
                f"The surface {link.name} sends to {place}, below {root}, the root of the sidecar's "
                "commands. Give the surface another address, or the run another --osc-root."
            )
