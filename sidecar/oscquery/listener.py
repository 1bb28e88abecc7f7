"""One client that follows values over a websocket."""

from __future__ import annotations

import asyncio
import contextlib
import json
from typing import TYPE_CHECKING

from sidecar.oscquery.tree import Packets

if TYPE_CHECKING:
    from aiohttp.web import WebSocketResponse


class Listener:
    """The addresses that one client follows, and the newest value of each that was not sent yet.

    A newer value replaces one that is still queued. So a client that reads slowly misses values in between
    but gets the present one, delays no other client, and has at most one value an address in its queue.
    """

    def __init__(
        self, readable: frozenset[str], channel: WebSocketResponse, line: asyncio.Transport | None
    ) -> None:
        """readable: the paths that can be followed. line: what *channel* runs over; None where it is gone."""
        self._channel = channel
        self._line = line
        self._readable = readable
        self._latest: dict[str, bytes | None] = {}
        self._waiting: dict[str, bytes] = {}
        self._news = asyncio.Event()
        self._all_sent = asyncio.Event()
        self._all_sent.set()

    def handle_request(self, text: str, packets: Packets) -> None:
        """Starts on LISTEN to send a value, at once and on each change; stops on IGNORE.

        Other requests belong to parts of the proposal that are not offered, and are ignored.
        """
        path, follows = _asked(text)
        if path not in self._readable:
            return
        if not follows:
            self._latest.pop(path, None)
            self._waiting.pop(path, None)
            return
        self._latest[path] = None
        self.offer(packets)

    def offer(self, packets: Packets) -> None:
        """Queues the values that changed in the newest snapshot; returns at once."""
        for path, latest in self._latest.items():
            packet = packets(path)
            if packet and packet != latest:
                self._latest[path] = self._waiting[path] = packet
        if self._waiting:
            self._all_sent.clear()
            self._news.set()

    async def send_waiting(self) -> None:
        """Sends queued values until cancelled, or until the client has disconnected."""
        with contextlib.suppress(ConnectionError):
            while True:
                await self._news.wait()
                self._news.clear()
                while self._waiting:
                    await self._channel.send_bytes(self._waiting.pop(next(iter(self._waiting))))
                self._all_sent.set()

    async def drain(self) -> None:
        """Closes the channel once the queue is sent: with a client that does not read, never, so set a limit
        on its time."""
        await self._all_sent.wait()
        await self._channel.close()

    def drop(self) -> None:
        """Closes the connection at once and discards the queue."""
        if self._line:
            self._line.abort()


def _asked(text: str) -> tuple[str, bool]:
    """Returns the path, and True for LISTEN or False for IGNORE; an empty path for anything else."""
    try:
        request = json.loads(text)
    except (ValueError, RecursionError):
        return "", False
    if not isinstance(request, dict) or request.get("COMMAND") not in ("LISTEN", "IGNORE"):
        return "", False
    path = request.get("DATA")
    return (path, request["COMMAND"] == "LISTEN") if isinstance(path, str) else ("", False)
