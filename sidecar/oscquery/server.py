"""The OSCQuery server of a run over HTTP: its addresses, their meaning and their present values.

Read-only: commands go over OSC, where senders are checked.
Source of the queries and status codes: the public OSCQuery proposal, from memory.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import socket
from typing import Any

from aiohttp import web

from sidecar.hosts import host_of, is_loopback, is_ours, listening, sender_of
from sidecar.model.snapshot import Snapshot
from sidecar.osc.access import AccessPolicy
from sidecar.osc.sockets.connections import ConnectionLimits, serve_limited
from sidecar.osc.table.addresses import ROOT
from sidecar.oscquery.listener import Listener
from sidecar.oscquery.tree import ATTRIBUTES, NAME, OFFERED, Node, Tree

MOST_LISTENERS, MOST_LISTENERS_OF_ONE = 16, 8
"""Clients that follow values, in all and of one host."""
MOST_CONNECTIONS, MOST_CONNECTIONS_OF_ONE = 64, 16
LONGEST_COMMAND = 4096
"""Bytes of one websocket message: a LISTEN is far shorter."""

_SILENT_FOR_S = 20.0
"""A websocket client that answers no ping for about so long is disconnected."""
_PARTING_S = 1.0
_KEPT_S = 30.0
"""How long a connection is kept for a next request."""


def bind(host: str, port: int) -> socket.socket:
    """Returns a listening TCP socket on one address of this machine; port 0 takes any that is free.

    Raises NetworkError when the port is taken or none, or the address is not this machine's.
    """
    advice = "Another copy may be running: end it, or choose another port with --discovery-port."
    return listening(host, port, "--discovery-port", "answer discovery", advice)


class Discovery:
    """Serves the OSC table and the values of the newest snapshot. Used on the engine's loop only."""

    def __init__(
        self, osc_port: int, access: AccessPolicy, *, update_hz: float = 10.0, root: str = ROOT
    ) -> None:
        """osc_port: the UDP port of commands. access: hosts that may connect. root: of the addresses."""
        self._osc_port = osc_port
        self._period_s = 1.0 / update_hz
        self._tree = Tree(root=root)
        self._latest: Snapshot | None = None
        self._host = ""
        self._update_due_s = 0.0
        self._timer: asyncio.TimerHandle | None = None
        self._limits = ConnectionLimits(MOST_CONNECTIONS, MOST_CONNECTIONS_OF_ONE, access.is_allowed)
        self._listeners: dict[Listener, str] = {}
        """Clients that follow values, with the host of each."""
        self._server: asyncio.Server | None = None
        self._runner: web.AppRunner | None = None

    async def open(self, server: socket.socket) -> None:
        """Answers requests on a listening socket."""
        self._host = server.getsockname()[0]
        app = web.Application(middlewares=[self._refuse_strangers])
        app.router.add_get("/{path:.*}", self._answer)
        self._runner = web.AppRunner(
            app, access_log=None, shutdown_timeout=_PARTING_S, keepalive_timeout=_KEPT_S
        )
        await self._runner.setup()
        assert self._runner.server
        self._server = await serve_limited(server, self._limits, self._runner.server)

    async def close(self) -> None:
        """Sends the last values to the clients that follow them, for at most _PARTING_S, then closes."""
        if self._server:
            self._server.close()
        if self._timer:
            self._timer.cancel()
        self._publish()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(_PARTING_S):
                await asyncio.gather(*(listener.drain() for listener in self._listeners))
        for listener in self._listeners:
            listener.drop()
        if self._runner:
            await self._runner.cleanup()

    def offer(self, snapshot: Snapshot) -> None:
        """Schedules the changes of the newest snapshot for the clients that follow them, at the update rate
        at most."""
        self._latest = snapshot
        if self._timer is None:
            loop = asyncio.get_running_loop()
            self._timer = loop.call_later(max(0.0, self._update_due_s - loop.time()), self._publish)

    def _publish(self) -> None:
        self._timer = None
        self._update_due_s = asyncio.get_running_loop().time() + self._period_s
        packets = self._tree.packets(self._latest)
        for listener in self._listeners:
            listener.offer(packets)

    @web.middleware
    async def _refuse_strangers(self, request: web.Request, handler: Any) -> web.StreamResponse:
        """Refuses requests by a foreign host name or from pages of other origins; access by address is
        checked on connecting.

        Browsers withhold answers from pages of other origins, as no header allows them; but a DNS name that
        its owner points at this machine makes such a page the same origin, and websockets are not restricted
        by origin.
        """
        requested = request.headers.get("Host", "")
        host = host_of(f"//{requested}")
        if not is_ours(host, self._host):
            raise web.HTTPForbidden(text=f"'{requested}' is not this machine; use its address.\n")
        origin = request.headers.get("Origin")
        if origin is not None and host_of(origin) != host and not is_loopback(host_of(origin)):
            raise web.HTTPForbidden(
                text="Pages of other origins may not read this. Open the address itself.\n"
            )
        response: web.StreamResponse = await handler(request)
        return response

    async def _answer(self, request: web.Request) -> web.StreamResponse:
        if "websocket" in request.headers.get("Upgrade", "").lower():
            return await self._follow(request)
        path, asked = "/" + request.path.strip("/"), request.query_string.removesuffix("=")
        if asked == "HOST_INFO":  # whatever the path
            return _json(self._host_info())
        if path not in self._tree:
            raise web.HTTPNotFound(text=f"There is no '{path}'; '/' lists everything.\n")
        if not asked:
            return _json(self._tree.node(path, self._latest))
        if asked not in ATTRIBUTES:
            raise web.HTTPBadRequest(text=f"There is no attribute of that name: {asked}\n")
        look = self._tree.node if asked == "CONTENTS" else self._tree.attributes
        found = look(path, self._latest)
        return _json({asked: found[asked]}) if asked in found else web.Response(status=204)

    def _host_info(self) -> Node:
        info: Node = {
            "NAME": NAME,
            "OSC_PORT": self._osc_port,
            "OSC_TRANSPORT": "UDP",
            "EXTENSIONS": dict.fromkeys((*OFFERED, "LISTEN"), True),
        }
        if not ipaddress.ip_address(self._host).is_unspecified:  # else: the address of the request
            info["OSC_IP"] = self._host
        return info

    async def _follow(self, request: web.Request) -> web.WebSocketResponse:
        sender = sender_of(request.remote or "")
        hosts = list(self._listeners.values())
        if len(hosts) >= MOST_LISTENERS or hosts.count(sender) >= MOST_LISTENERS_OF_ONE:
            raise web.HTTPServiceUnavailable(text=f"{len(hosts)} clients follow already. Close one first.\n")
        channel = web.WebSocketResponse(
            max_msg_size=LONGEST_COMMAND, heartbeat=_SILENT_FOR_S, timeout=_PARTING_S, compress=False
        )
        listener = Listener(self._tree.readable, channel, request.transport)
        self._listeners[listener] = sender
        try:
            await channel.prepare(request)
            writer = asyncio.create_task(listener.send_waiting())
            try:
                async for message in channel:
                    if message.type == web.WSMsgType.TEXT:
                        listener.handle_request(message.data, self._tree.packets(self._latest))
            finally:
                writer.cancel()
        finally:
            del self._listeners[listener]
        return channel


def _json(node: Node) -> web.Response:
    response = web.json_response(node)
    response.headers["Cache-Control"] = "no-store"
    return response
