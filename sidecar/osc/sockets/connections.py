"""Limits on a server's TCP connections: their number, their hosts, and how long one may send nothing.

Each takes a file descriptor, and a process has few: the record, the capture and programs need some.
"""

from __future__ import annotations

import asyncio
import socket
from collections import Counter
from collections.abc import Callable
from typing import Any, cast

from sidecar.hosts import sender_of

resource: Any
try:
    import resource
except ImportError:  # Windows, where sockets are no descriptors of the C library's
    resource = None

_RESERVED = 96
"""Descriptors kept free of connections: a run with capture, record, screen and programs has some 50 open."""
_LEAST = 4


def room_for(most: int) -> int:
    """*most*, or a quarter of the descriptors that this process may have besides the reserved ones."""
    if resource is None:
        return most
    allowed, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return most if allowed == resource.RLIM_INFINITY else min(most, max(_LEAST, (allowed - _RESERVED) // 4))


class ConnectionLimits:
    """Counts the connections of one server, in all and for each host. Pure."""

    def __init__(
        self, most: int, most_of_one: int, is_allowed: Callable[[str], bool] = lambda _host: True
    ) -> None:
        """most_of_one: of one host. is_allowed: who may connect at all."""
        self._most = room_for(most)
        self._most_of_one = min(most_of_one, self._most)
        self._is_allowed = is_allowed
        self._hosts: Counter[str] = Counter()

    def enter(self, host: str) -> str:
        """Counts a connection more; why not, in words, where it is not taken."""
        sender = sender_of(host)
        if not self._is_allowed(host):
            return "this sender is not allowed: see --osc-allow"
        if self._hosts[sender] >= self._most_of_one:
            return f"{host} has {self._most_of_one} connections, the most of one host"
        if self._hosts.total() >= self._most:
            return f"there are {self._most} connections, the most there may be"
        self._hosts[sender] += 1
        return ""

    def leave(self, host: str) -> None:
        """Counts one connection of *host* less."""
        sender = sender_of(host)
        self._hosts[sender] -= 1
        if not self._hosts[sender]:
            del self._hosts[sender]


FIRST_S = 10.0
"""Longest time from connecting to the first byte."""
SILENT_S = 60.0
"""Ours: three times the longest silence of a working client, which answers pings."""
_BACKLOG = 32
"""Connections that are accepted in one go, before the first of them can be refused."""


async def serve_limited(
    listening: socket.socket, limits: ConnectionLimits, serve: Callable[[], asyncio.Protocol]
) -> asyncio.Server:
    """Starts a server on a listening socket. serve: makes the protocol for each accepted connection."""
    loop = asyncio.get_running_loop()
    return await loop.create_server(
        lambda: LimitedProtocol(limits, serve, first_s=FIRST_S, silent_s=SILENT_S),
        sock=listening,
        backlog=_BACKLOG,
    )


class LimitedProtocol(asyncio.Protocol):
    """Wraps the protocol that serves a connection; closes one beyond the limits or idle for too long."""

    def __init__(
        self,
        limits: ConnectionLimits,
        serve: Callable[[], asyncio.Protocol],
        *,
        first_s: float,
        silent_s: float,
    ) -> None:
        """serve: makes the wrapped protocol. first_s: longest time to the first byte. silent_s: longest
        time between two."""
        self._limits = limits
        self._serve = serve
        self._silent_s = silent_s
        self._allowed_s = first_s
        self._behind: asyncio.Protocol | None = None
        self._host = ""
        self._received_s = 0.0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.Transport, transport)
        self._host = (transport.get_extra_info("peername") or ("",))[0]
        if self._limits.enter(self._host):
            self._transport.abort()
            return
        self._behind = self._serve()
        self._behind.connection_made(transport)
        self._received_s = asyncio.get_running_loop().time()
        self._look()

    def data_received(self, data: bytes) -> None:
        self._allowed_s = self._silent_s
        self._received_s = asyncio.get_running_loop().time()
        if self._behind:
            self._behind.data_received(data)

    def eof_received(self) -> bool | None:
        return self._behind.eof_received() if self._behind else None

    def pause_writing(self) -> None:
        if self._behind:
            self._behind.pause_writing()

    def resume_writing(self) -> None:
        if self._behind:
            self._behind.resume_writing()

    def connection_lost(self, exc: Exception | None) -> None:
        behind, self._behind = self._behind, None
        if behind:
            self._limits.leave(self._host)
            behind.connection_lost(exc)

    def _look(self) -> None:
        """Closes the connection where nothing came for too long; else checks again when that could be so."""
        loop = asyncio.get_running_loop()
        if self._behind is None:
            return
        left_s = self._received_s + self._allowed_s - loop.time()
        if left_s <= 0.0:
            self._transport.abort()
        else:
            loop.call_later(left_s, self._look)
