"""OSC over TCP, under the same rules as datagrams: in SLIP frames (OSC 1.1) or with sizes (OSC 1.0)."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Hashable, Iterator
from typing import cast

from sidecar.model.snapshot import Target
from sidecar.osc.access import LARGEST_PACKET, AccessPolicy
from sidecar.osc.drops import DropCounters
from sidecar.osc.sockets.connections import ConnectionLimits
from sidecar.osc.sockets.destinations import Destination
from sidecar.osc.sockets.framing import Framing, framing
from sidecar.osc.table.exchange import DropReason

MOST, MOST_OF_ONE = 64, 16
"""Connections at once, in all and of one host."""
FIRST_S = 10.0
"""Until the first whole packet."""
IDLE_S = 600.0
"""Ours: watchers ask again each minute, and buttons are pressed now and then."""
_BACKLOG = 32

_MOST_UNREAD = 256 * 1024
"""Bytes. Ours: about a minute of everything with readings ten times a second."""

_FRAMES_A_TURN = 50
_TURN_S = 0.1
"""A stream with more frames than that in a turn is read more slowly: TCP's flow control makes it wait."""

_BROKEN = "a frame that is too long or cannot be read"

Take = Callable[[bytes, "Stream"], None]


class Streams:
    """All connections of one listening socket."""

    def __init__(
        self, access: AccessPolicy, drops: DropCounters, take: Take, ended: Callable[[Stream], None]
    ) -> None:
        """take: called with each packet and its stream. ended: called with each stream that was closed."""
        self.access = access
        self.drops = drops
        self.take = take
        self.ended = ended
        self.open: set[Stream] = set()
        self.limits = ConnectionLimits(MOST, MOST_OF_ONE)
        self._server: asyncio.Server | None = None

    async def start(self, listening: socket.socket) -> None:
        """Takes over a bound socket and listens."""
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: Stream(self), sock=listening, backlog=_BACKLOG)

    def close(self) -> None:
        """Ends every connection; data that was not read by then is discarded."""
        if self._server:
            self._server.close()
        for stream in list(self.open):
            stream.close()


class Stream(asyncio.Protocol):
    """One connection. It is closed where its peer does not read, rather than waited for."""

    def __init__(self, streams: Streams) -> None:
        self._streams = streams
        self._framing: Framing | None = None
        self._transport: asyncio.Transport | None = None
        self._destination: Destination | None = None
        self._packets: Iterator[bytes | None] = iter(())
        self.host = ""
        self._received_s = 0.0
        self._allowed_s = FIRST_S

    is_proven = True
    """TCP's handshake has proven the peer's address."""

    @property
    def key(self) -> Hashable:
        return self

    @property
    def status(self) -> Target:
        return self._destination.status if self._destination else Target(self.host)

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.Transport, transport)
        address = transport.get_extra_info("peername") or ("", 0)  # it may be gone already
        self.host = address[0]
        streams = self._streams
        if not streams.access.is_allowed(self.host):
            self._refuse("sender", "this sender is not allowed: see --osc-allow")
        elif full := streams.limits.enter(self.host):
            self._refuse("full", full)
        else:
            family = transport.get_extra_info("socket").family
            self._destination = Destination(f"{self.host}:{address[1]}", family, address)
            streams.open.add(self)
            self._received_s = asyncio.get_running_loop().time()
            self._look()

    def data_received(self, data: bytes) -> None:
        self._framing = self._framing or framing(data, LARGEST_PACKET)
        self._packets = self._framing.feed(data)
        self._take_turn()

    def _take_turn(self) -> None:
        if self._transport is None or self not in self._streams.open:
            return
        for taken, packet in enumerate(self._packets, 1):
            if packet is not None:
                self._received_s, self._allowed_s = asyncio.get_running_loop().time(), IDLE_S
                self._streams.take(packet, self)
            elif self._framing and self._framing.recovers:
                self._count("broken", _BROKEN)
            else:
                self._refuse("broken", _BROKEN)
                return
            if taken == _FRAMES_A_TURN:
                self._transport.pause_reading()
                asyncio.get_running_loop().call_later(_TURN_S, self._take_turn)
                return
        self._transport.resume_reading()

    def send_packet(self, packet: bytes) -> None:
        """Hands one packet to the network; closes the connection where too much is unread."""
        transport, destination, framed = self._transport, self._destination, self._framing
        if transport is None or destination is None or framed is None or transport.is_closing():
            return
        if transport.get_write_buffer_size() > _MOST_UNREAD:
            self._refuse("slow", "the connection was not read")
            return
        transport.write(framed.frame(packet))
        destination.record("")

    def close(self) -> None:
        if self._transport and self._transport.get_write_buffer_size():
            self._transport.abort()
        elif self._transport:
            self._transport.close()

    def connection_lost(self, _exc: Exception | None) -> None:
        if self in self._streams.open:
            self._streams.open.discard(self)
            self._streams.limits.leave(self.host)
            self._streams.ended(self)

    def _look(self) -> None:
        """Closes the connection where no packet came for too long; else checks again once that may be so."""
        if self not in self._streams.open:
            return
        loop = asyncio.get_running_loop()
        left_s = self._received_s + self._allowed_s - loop.time()
        if left_s > 0.0:
            loop.call_later(left_s, self._look)
        else:
            self._refuse("idle", f"nothing came for {self._allowed_s:g} s")

    def _refuse(self, reason: DropReason, words: str) -> None:
        self._count(reason, words)
        if self._transport:
            self._transport.abort()

    def _count(self, reason: DropReason, words: str) -> None:
        self._streams.drops.count(reason, self.host, words, asyncio.get_running_loop().time())
