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
    """What a client follows, and the newest value of each address that has not reached it yet.

    A newer value takes the place of the one that still waits. So a client that reads slowly misses what came
    in between and never what is true now, holds up nobody, and no more waits for it than there are addresses.
    """

    def __init__(
        self, readable: frozenset[str], channel: WebSocketResponse, line: asyncio.Transport | None
    ) -> None:
        """readable: the paths that can be followed. line: what *channel* runs over; None where it is gone."""
        self._channel = channel
        self._line = line
        self._readable = readable
        self._told: dict[str, bytes | None] = {}
        self._waiting: dict[str, bytes] = {}
        self._news = asyncio.Event()
        self._all_sent = asyncio.Event()
        self._all_sent.set()

    def handle_request(self, text: str, packets: Packets) -> None:
        """LISTEN sends a value at once and then whenever it changes, until IGNORE.

        Whatever else clients say belongs to parts of the proposal that are not offered, and is passed over.
        """
        path, follows = _asked(text)
        if path not in self._readable:
            return
        if not follows:
            self._told.pop(path, None)
            self._waiting.pop(path, None)
            return
        self._told[path] = None
        self.offer(packets)

    def offer(self, packets: Packets) -> None:
        """What the newest snapshot reads; returns at once."""
        for path, told in self._told.items():
            packet = packets(path)
            if packet and packet != told:
                self._told[path] = self._waiting[path] = packet
        if self._waiting:
            self._all_sent.clear()
            self._news.set()

    async def send_waiting(self) -> None:
        """Sends what waits, until cancelled or the client is gone."""
        with contextlib.suppress(ConnectionError):
            while True:
                await self._news.wait()
                self._news.clear()
                while self._waiting:
                    await self._channel.send_bytes(self._waiting.pop(next(iter(self._waiting))))
                self._all_sent.set()

    async def drain(self) -> None:
        """Parts when all was sent: of a client that does not read, never, so it needs a time limit."""
        await self._all_sent.wait()
        await self._channel.close()

    def drop(self) -> None:
        """Parts at once, whatever still waits."""
        if self._line:
            self._line.abort()


def _asked(text: str) -> tuple[str, bool]:
    """Path, and whether it is to be followed from now on; an empty path for anything else."""
    try:
        said = json.loads(text)
    except (ValueError, RecursionError):
        return "", False
    if not isinstance(said, dict) or said.get("COMMAND") not in ("LISTEN", "IGNORE"):
        return "", False
    path = said.get("DATA")
    return (path, said["COMMAND"] == "LISTEN") if isinstance(path, str) else ("", False)
