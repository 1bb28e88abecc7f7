"""The pages and their websockets."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any, get_args

import textual_serve
from aiohttp import web

from sidecar.hosts import listening
from sidecar.osc.sockets.connections import ConnectionLimits, serve_limited
from sidecar.settings.taste import Shade
from sidecar.web.guard import Guard
from sidecar.web.tab import Tab, attend

MOST_TABS = 8
"""Ours: each is a process that draws."""

MOST_CONNECTIONS, MOST_CONNECTIONS_OF_ONE = 96, 48
"""Ours: a browser opens six for a page and one for its screen."""
_HEARTBEAT_S = 15.0
"""A page that answers no ping for about so long is disconnected: a sleeping device, a broken link."""
_LONGEST_MESSAGE = 65_536
_PARTING_S = 5.0
_KEPT_S = 30.0
"""How long a connection is kept for a next request."""
_OWN = ("page.css", "page.js")
_LIBRARY = {
    "terminal.js": "js/textual.js",
    "terminal.css": "css/xterm.css",
    "mono.ttf": "fonts/RobotoMono-VariableFont_wght.ttf",
}
_HEADERS = {
    # All resources are from this server; no other page may embed this one.
    "Content-Security-Policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
}


def bind(host: str, port: int) -> socket.socket:
    """A listening socket on one address of this machine; port 0 takes any that is free.

    Raises NetworkError when the port is taken or none, or the address is not this machine's.
    """
    advice = "Choose another port with --port, or give an address of this machine with --bind."
    return listening(host, port, "--port", "serve the screen", advice)


class WebPages:
    """Serves the page, and a process with the screen to each tab."""

    def __init__(self, command: Sequence[str], guard: Guard, port: int) -> None:
        """command: of the process with the screen. port: of this server; part of its cookie's name."""
        self._command = command
        self._guard = guard
        self._cookie = f"sidecar-{port}"
        self._tabs: set[Tab] = set()

    def app(self) -> web.Application:
        """Returns the web application."""
        app = web.Application(middlewares=[self._admit])
        app.router.add_get("/", self._page)
        for shade in get_args(Shade):
            app.router.add_get(f"/ws/{shade}", self._channel(shade))
        for name in _OWN:
            app.router.add_get(f"/{name}", self._file(Path(str(files(__package__) / name))))
        library = Path(textual_serve.__file__).parent / "static"
        for name, path in _LIBRARY.items():
            app.router.add_get(f"/{name}", self._file(library / path))
        app.on_shutdown.append(self._close)
        return app

    @web.middleware
    async def _admit(self, request: web.Request, handler: Any) -> web.StreamResponse:
        shown = (request.query.get("token", ""), request.cookies.get(self._cookie, ""))
        fault = self._guard.refusal(
            request.headers.get("Host", ""),
            request.headers.get("Origin"),
            shown,
            is_channel=request.path.startswith("/ws"),
        )
        if fault:
            refusal = web.Response(status=403, text=f"Not shown: {fault}\n", headers=_HEADERS)
            refusal.force_close()  # without the token no connection is kept
            return refusal
        response: web.StreamResponse = await handler(request)
        return response

    async def _page(self, request: web.Request) -> web.StreamResponse:
        if len(self._tabs) >= MOST_TABS:
            text = f"There are {MOST_TABS} screens open already: close one, then open this page again.\n"
            return web.Response(status=503, text=text, headers=_HEADERS)
        page = (files(__package__) / "page.html").read_text(encoding="utf-8")
        response = web.Response(text=page, content_type="text/html", headers=_HEADERS)
        if "token" in request.query:  # what the page loads has no token in its links
            response.set_cookie(self._cookie, request.query["token"], httponly=True, samesite="Strict")
        return response

    def _file(self, path: Path) -> Any:
        async def answer(_request: web.Request) -> web.StreamResponse:
            return web.FileResponse(path, headers=_HEADERS | {"Cache-Control": "no-cache"})

        return answer

    def _channel(self, shade: Shade) -> Any:
        """Returns what answers a browser that prefers this *shade* of the ground."""

        async def answer(request: web.Request) -> web.StreamResponse:
            if len(self._tabs) >= MOST_TABS:
                text = f"{MOST_TABS} screens are open already. Close one first.\n"
                raise web.HTTPServiceUnavailable(text=text)
            channel = web.WebSocketResponse(heartbeat=_HEARTBEAT_S, max_msg_size=_LONGEST_MESSAGE)
            tab = Tab(self._command, channel, shade)
            self._tabs.add(tab)
            try:
                await channel.prepare(request)
                with contextlib.suppress(ConnectionError):
                    await attend(tab, channel, *_asked_size(request))
            finally:
                self._tabs.discard(tab)
            return channel

        return answer

    async def _close(self, _app: web.Application) -> None:
        await asyncio.gather(*(tab.stop() for tab in list(self._tabs)), return_exceptions=True)


def _asked_size(request: web.Request) -> tuple[int, int]:
    try:
        return int(request.query["width"]), int(request.query["height"])
    except (KeyError, ValueError):
        return 80, 24


def serve(server: socket.socket, pages: WebPages) -> None:
    """Serves until SIGINT or SIGTERM, then ends the process of every tab."""
    asyncio.run(_serve(server, pages))


async def _serve(server: socket.socket, pages: WebPages) -> None:
    runner = web.AppRunner(
        pages.app(), access_log=None, shutdown_timeout=_PARTING_S, keepalive_timeout=_KEPT_S
    )
    await runner.setup()
    end = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError):
            loop.add_signal_handler(number, end.set)
    assert runner.server
    limits = ConnectionLimits(MOST_CONNECTIONS, MOST_CONNECTIONS_OF_ONE)
    taking = await serve_limited(server, limits, runner.server)
    try:
        await end.wait()
    finally:
        taking.close()
        await runner.cleanup()
