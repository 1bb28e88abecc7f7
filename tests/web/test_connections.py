"""Connections to the screen in browsers that bring no token, or nothing at all."""

import asyncio
import contextlib

import aiohttp
import pytest
from browser import wait_for

from sidecar.web import server, tab
from sidecar.web.guard import Guard
from sidecar.web.server import MOST_CONNECTIONS_OF_ONE, MOST_TABS, WebPages, _serve, bind

PATIENCE_S = 60.0
TOKEN = "the-token"


async def asked(port, path):
    """The whole answer to one request, up to the end of its connection."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    answer = await asyncio.wait_for(reader.read(), PATIENCE_S)
    writer.close()
    return answer


async def is_closed(reader, writer):
    with contextlib.suppress(ConnectionError):
        assert await asyncio.wait_for(reader.read(), PATIENCE_S) == b""
    writer.close()
    return True


def attacked(attack, command=("true",)):
    """Runs *attack*, which gets the port, beside a server whose tabs run *command*."""

    async def run():
        server = bind("127.0.0.1", 0)
        port = server.getsockname()[1]
        serving = asyncio.create_task(_serve(server, WebPages(command, Guard("127.0.0.1", TOKEN), port)))
        try:
            return await attack(port)
        finally:
            serving.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await serving

    return asyncio.run(run())


def test_a_connection_that_brings_no_token_is_not_kept():
    answer = attacked(lambda port: asked(port, "/"))

    assert b" 403 " in answer.splitlines()[0]
    assert b"connection: close" in answer.lower()


def test_idle_connections_make_room_and_more_of_one_host_are_not_taken(monkeypatch):
    monkeypatch.setattr("sidecar.osc.sockets.connections.FIRST_S", 0.5)
    monkeypatch.setattr(server, "_KEPT_S", 0.1)

    async def attack(port):
        idle = [await asyncio.open_connection("127.0.0.1", port) for _ in range(MOST_CONNECTIONS_OF_ONE)]
        beyond = await asyncio.open_connection("127.0.0.1", port)
        ended = [await is_closed(*each) for each in (beyond, *idle)]
        return ended, await asked(port, f"/?token={TOKEN}")

    ended, answer = attacked(attack)

    assert all(ended)
    assert b" 200 " in answer.splitlines()[0]


def test_one_more_than_the_most_tabs_opens_when_another_has_gone(monkeypatch):
    monkeypatch.setattr(tab, "_QUIT_S", 0.1)  # the process does not answer

    async def attack(port):
        base = f"http://127.0.0.1:{port}"
        page, channel, origin = f"{base}/?token={TOKEN}", f"{base}/ws/dark?token={TOKEN}", {"Origin": base}
        async with aiohttp.ClientSession() as client:

            async def status():
                async with client.get(page) as answer:
                    return answer.status

            async def is_free():
                return await status() == 200

            channels = [await client.ws_connect(channel, headers=origin) for _ in range(MOST_TABS)]
            full = await status()
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await client.ws_connect(channel, headers=origin)
            await channels.pop().close()
            await wait_for(is_free)
            channels.append(await client.ws_connect(channel, headers=origin))
            again = await status()
            for each in channels:
                await each.close()
            return full, refused.value.status, again

    assert attacked(attack, ("cat",)) == (503, 503, 503)
