"""One tab: a process with the screen, and the websocket of its output and keys."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
from asyncio.subprocess import Process
from collections.abc import Sequence
from typing import Any

from aiohttp import WSMsgType, web
from textual_serve.app_service import AppService
from textual_serve.download_manager import DownloadManager

from sidecar.settings.taste import Shade

_QUIT_S = 3.0
"""A screen that has not ended so long after its tab was closed is killed."""
_LONGEST_SIDE = 1000
"""Cells. Ours: more than any display has; it bounds the memory of a screen."""


class Tab(AppService):
    """Starts the process without a shell, closes the page when it ends, and kills it when it does not."""

    def __init__(self, command: Sequence[str], channel: web.WebSocketResponse, shade: Shade) -> None:
        """shade: of the ground that the browser prefers."""
        super().__init__(
            "",
            write_bytes=channel.send_bytes,
            write_str=channel.send_str,
            close=self._part,
            download_manager=DownloadManager(),
        )
        self._argv = command
        self._channel = channel
        self._shade = shade

    def _build_environment(self, width: int = 80, height: int = 24) -> dict[str, str]:
        environment = super()._build_environment(width, height)
        return {name: value for name, value in environment.items() if name != "NO_COLOR"} | {
            "PYTHONIOENCODING": "utf-8",
            "COLORFGBG": "0;15" if self._shade == "light" else "15;0",
        }

    async def _open_app_process(self, width: int = 80, height: int = 24) -> Process:
        self._process = await asyncio.create_subprocess_exec(
            *self._argv,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
            env=self._build_environment(width, height),
        )
        self._stdin = self._process.stdin
        return self._process

    async def _part(self) -> None:
        await self._channel.close()

    async def run(self) -> None:
        """Passes the output of the process on until it ends, then sends the page the end."""
        with contextlib.suppress(ConnectionError):
            await super().run()
        await self.remote_close()

    async def stop(self) -> None:
        """Asks the process to quit; kills it where it has not ended after _QUIT_S."""
        if self._process is None or self._task is None:
            return
        task, self._task = self._task, None
        await self.send_meta({"type": "quit"})
        try:
            async with asyncio.timeout(_QUIT_S):
                await self._process.wait()
        except TimeoutError:
            with contextlib.suppress(ProcessLookupError):
                self._process.send_signal(signal.SIGKILL if os.name == "posix" else signal.SIGTERM)
            await self._process.wait()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def attend(tab: Tab, channel: web.WebSocketResponse, width: int, height: int) -> None:
    """Passes keys and sizes from the page on until it disconnects, then ends the process."""
    await tab.start(*sides(width, height))
    try:
        async for message in channel:
            if message.type == WSMsgType.TEXT:
                await _handle_message(tab, channel, message.data)
    finally:
        await tab.stop()


def sides(width: Any, height: Any) -> tuple[int, int]:
    """Returns width and height in cells, each from 1 to _LONGEST_SIDE.

    Raises ValueError or TypeError where they are not numbers.
    """
    return max(1, min(int(width), _LONGEST_SIDE)), max(1, min(int(height), _LONGEST_SIDE))


async def _handle_message(tab: Tab, channel: web.WebSocketResponse, text: str) -> None:
    """Handles one message of the page; a malformed one is ignored."""
    try:
        kind, *rest = json.loads(text)
        match kind, rest:
            case "stdin", [str(keys)] if typed := keys.encode("utf-8", "ignore"):
                await tab.send_bytes(typed)  # without a byte it would be the end of all input
            case "resize", [{"width": width, "height": height}]:
                await tab.set_terminal_size(*sides(width, height))
            case "ping", [str(mark)]:
                await channel.send_json(["pong", mark])
            case "focus", _:
                await tab.focus()
            case "blur", _:
                await tab.blur()
    except (ValueError, TypeError, RecursionError):
        return
