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
from sidecar.model.snapshot import Event, FaderFeedback, Feed, Snapshot, Target
from sidecar.osc.access import AccessPolicy, Network, is_this_machine
from sidecar.osc.addresses import MARKED, ROOT, checked_root
from sidecar.osc.backlog import Backlog
from sidecar.osc.codec import clipped
from sidecar.osc.destinations import Destination
from sidecar.osc.publisher import Line, Publisher
from sidecar.osc.screen_addresses import NAME_BYTES
from sidecar.osc.sender import hand_over
from sidecar.osc.server import Obey, OscServer
from sidecar.osc.tcp import Stream, Streams
from sidecar.osc.workstation import Workstation

Report = Callable[[FaderFeedback], None]

_BUFFER = 1 << 20
_MOST_WAITING = 4096
_TURN_S = 0.005
"""Then the socket is emptied again."""
_LARGEST_DATAGRAM = 65_535
_STREAM_BUFFER = 1 << 16
"""Systems let it grow to megabytes, and a connection that nobody reads would be noticed only then."""

_log = logging.getLogger(__name__)


def bind(
    host: str, port: int, option: str = "--osc-port", kind: socket.SocketKind = socket.SOCK_DGRAM
) -> socket.socket:
    """A socket on one address of this machine; port 0 takes any that is free.

    option: what the person can choose another port with.
    Raises NetworkError when the port is taken or none, or the address is not this machine's.
    """
    checked_port(port, option)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    server = socket.socket(family, kind)
    try:
        if kind == socket.SOCK_STREAM and os.name == "posix":
            # Else the port stays taken for a minute after a run that had connections.
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if kind == socket.SOCK_STREAM:  # a machine that was switched off says no goodbye (RFC 1122 §4.2.3.6)
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
    """Who spoke to the UDP socket."""

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
    """Sends snapshots to targets and subscribers, and passes commands on. Lives on the engine's loop."""

    def __init__(
        self,
        targets: Sequence[Destination],
        *,
        update_hz: float = 10.0,
        allow: Sequence[Network] = (),
        link: Workstation | None = None,
        root: str = ROOT,
    ) -> None:
        """update_hz: readings a second, for whoever does not ask for fewer.
        allow: who may speak besides this machine.
        link: how a workstation's faders are reached; without it no fader is moved.
        root: what the addresses of this run begin with.

        Raises NetworkError for a root that is none, or below which the surface speaks of its faders.
        """
        self._root = checked_root(root)
        if link:
            _refuse_shared_root(link, root)
        self._targets = targets
        self._link = link
        if link:
            link.connect(partial(self.post, link.target))
        self._outbox = Publisher(root)
        for target in targets:
            period_s = 1.0 / min(target.rate_hz or update_hz, update_hz)
            self._outbox.add_line(Line(target.selection, period_s, partial(self.post, target)), 0.0)
        doors = AccessPolicy(allow, link.peer.host if link else None)
        self._reception = OscServer(doors, self._outbox, update_hz=update_hz, link=link, root=root)
        self._streams = Streams(doors, self._reception.drops, self._take, ended=self._reception.end)
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
        obey: Obey,
        streams: socket.socket | None = None,
        *,
        report_fader: Report | None = None,
        feed: Feed | None = None,
    ) -> None:
        """Takes over a bound socket; sends from it too, so that answers come back to the port that asked.

        Only what it cannot reach, another family of addresses or, from 127.0.0.1, another machine, is sent
        from a socket of its own, where nobody listens for answers.

        obey: takes each command that arrives; called on the loop and must return at once.
        streams: a bound TCP socket where the same is spoken.
        report_fader: gets what the workstation says of its faders; called on the loop as well.
        feed: where subscribers are told what was before they came, and which goals there are.
        Raises NetworkError when the workstation of the surface could not answer.
        """
        host, desk = server.getsockname()[0], self._link.target if self._link else None
        if desk and is_this_machine(host) and not is_this_machine(desk.address[0]):
            raise NetworkError(
                f"The workstation at {desk.name} could not tell where its fader is: OSC is taken on {host} "
                "only. Give --osc-bind the address of this machine that it reaches."
            )
        self._reception.obey = obey
        if report_fader:
            self._reception.report_fader = partial(self._report_fader, report_fader)
        self._reception.later = partial(_call_later, asyncio.get_running_loop())
        if feed:
            self._reception.archive = Backlog(feed.timeline, feed.goals, self._root)
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
        self._outbox.send_last()
        self._streams.close()
        if self._transport:
            self._transport.close()
        for other in self._others.values():
            other.close()

    def offer(self, snapshot: Snapshot) -> None:
        """The newest snapshot: what changed goes out at once, readings to everybody they are due to."""
        now_s = asyncio.get_running_loop().time()
        self._reception.expire(now_s)
        self._outbox.offer(snapshot, now_s, time.time())
        if snapshot.transport != "preparing":  # until then a pass that is gone on with may still be read
            self._tell_marks(self._reception.news())
        self._wind()

    def _tell_marks(self, events: Sequence[Event]) -> None:
        told = [(event.seconds, clipped(event.text, NAME_BYTES)) for event in events if event.kind == "mark"]
        self._outbox.publish_event(MARKED, told, time.time())

    def status(self) -> tuple[Target, ...]:
        """How sending to each target and subscriber goes; may be read from any thread."""
        targets = tuple(target.status for target in self._all_targets())
        return targets + self._reception.subscribers.status()

    def _report_fader(self, report: Report, feedback: FaderAt | StemFaderAt) -> None:
        """The guard is the first to know; everything else is told after it."""
        if self._link is None:
            return
        match feedback:
            case FaderAt(position_db):
                report(FaderFeedback(position_db, self._link.fader.confirm(position_db)))
            case StemFaderAt(stem, position_db):
                report(FaderFeedback(position_db, self._link.fader.clock(), stem))

    def post(self, destination: Destination, datagram: bytes) -> None:
        """Hands one datagram to the network and records how that went.

        Past asyncio's transport, which would keep what one place does not take and let all others wait.
        """
        sender = self._sender(destination)
        if sender:
            hand_over(sender, datagram, destination)

    def datagram_received(self, data: bytes, addr: tuple[Any, ...]) -> None:
        self._admit(data, addr)
        if not self._is_working:
            self._work()

    def _admit(self, data: bytes, addr: tuple[Any, ...]) -> None:
        """A disarm is taken at once, and again in its turn: an arm that was sent before it must not win."""
        if self._reception.is_disarm(data):
            self._take_datagram(data, addr)
        if len(self._waiting) < _MOST_WAITING:
            self._waiting.append((data, addr))
        else:
            now_s = asyncio.get_running_loop().time()
            self._reception.drops.count("rate", addr[0], "too many packets at once", now_s)

    def _work(self) -> None:
        """Empties the socket, so that a disarm behind a flood is found, and takes some of what waits."""
        for _ in range(_MOST_WAITING):
            try:
                self._admit(*self._server.recvfrom(_LARGEST_DATAGRAM))  # type: ignore[union-attr]
            except OSError:  # there is nothing more; a fault is the transport's to find
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
        self._reception.receive_packet(packet, peer, asyncio.get_running_loop().time())
        if self._link:
            self._link.fader.stranger = self._reception.stranger
        self._wind()

    def _wind(self) -> None:
        """Sets the timer to when readings are due next."""
        due_s = self._outbox.due_s()
        if self._timer and self._timer.when() == due_s:
            return
        if self._timer:
            self._timer.cancel()
        self._timer = None if due_s is None else asyncio.get_running_loop().call_at(due_s, self._ring)

    def _ring(self) -> None:
        self._timer = None
        self._outbox.send_due(asyncio.get_running_loop().time())
        self._wind()

    def _sender(self, destination: Destination) -> socket.socket | None:
        """The socket from which a datagram can get there."""
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
                f"The surface {link.name} speaks at {place}, below {root}, where the sidecar's "
                "own commands are: give it another address, or the run another root with --osc-root."
            )
