"""Following values over a real websocket."""

import asyncio
import json
import socket
import threading

import aiohttp
import numpy as np
import pytest

from sidecar.model.advice import Advice
from sidecar.model.readings import Move
from sidecar.osc import codec
from sidecar.oscquery.server import LONGEST_COMMAND, MOST_LISTENERS_OF_ONE
from sidecar.run.options import RunOptions
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.sources.rehearsal import RehearsalSource

PATIENCE_S = 60.0
RUN_S = 120.0  # the first run on a machine compiles the meter


def say(command, path):
    return json.dumps({"COMMAND": command, "DATA": path})


async def heard(channel):
    """Address and arguments of the next value."""
    ((address, arguments),) = codec.parse(await channel.receive_bytes(timeout=PATIENCE_S))
    return address, arguments


async def heard_until(channel, wanted):
    """All values up to and with the first one that is wanted."""
    values = [await heard(channel)]
    while not wanted(values[-1]):
        values.append(await heard(channel))
    return values


def following(served, work):
    """Runs *work* with a websocket client."""

    async def run():
        async with (
            aiohttp.ClientSession() as session,
            session.ws_connect(served.url, max_msg_size=0) as channel,
        ):
            return await work(channel)

    return asyncio.run(run())


def test_a_value_comes_at_once_and_whenever_it_changes(serve, a_snapshot):
    """The first answers LISTEN; an unchanged one is not repeated; only what is followed comes."""
    served = serve(update_hz=1000.0)
    served.offer(a_snapshot(-20.0))

    async def work(channel):
        await channel.send_str(say("LISTEN", "/sidecar/momentary"))
        values = [await heard(channel)]
        for momentary in (-20.0, -21.0, -21.0, -22.0):
            served.offer(a_snapshot(momentary))
            served.engine.run(asyncio.sleep(0.005))  # longer than the update: each is an update of its own
        return values + await heard_until(channel, lambda value: value[1] == [-22.0])

    assert [("/sidecar/momentary", [level]) for level in (-20.0, -21.0, -22.0)] == following(served, work)


def test_what_is_ignored_comes_no_more(serve, a_snapshot):
    """After IGNORE the other value still comes and this one does not."""
    served = serve(update_hz=1000.0)
    served.offer(a_snapshot(-20.0))

    async def work(channel):
        await channel.send_str(say("LISTEN", "/sidecar/momentary"))
        await channel.send_str(say("LISTEN", "/sidecar/transport"))
        await heard_until(channel, lambda value: value[0] == "/sidecar/transport")
        await channel.send_str(say("IGNORE", "/sidecar/momentary"))
        await channel.send_str(say("LISTEN", "/sidecar/dropped"))
        await heard(channel)  # so IGNORE was obeyed
        served.offer(a_snapshot(-30.0, transport="paused"))
        return await heard(channel)

    assert following(served, work) == ("/sidecar/transport", ["paused"])


@pytest.mark.parametrize(
    "nonsense",
    [
        "",
        "LISTEN",
        "[" * 4000,
        "[1]",
        "{}",
        '{"COMMAND": "LISTEN"}',
        '{"COMMAND": "LISTEN", "DATA": ["/sidecar/momentary"]}',
        say("LISTEN", "/sidecar"),
        say("LISTEN", "/sidecar/reset"),
        say("LISTEN", "/sidecar/nothing"),
        say("PATH_RENAMED", "/sidecar/momentary"),
        b"/sidecar/reset\0\0,\0\0\0",
        b"\xff\xfe",
    ],
)
def test_what_makes_no_sense_is_passed_over(serve, a_snapshot, nonsense):
    """The connection lives on and the next command is obeyed."""
    served = serve()
    served.offer(a_snapshot())

    async def work(channel):
        send = channel.send_bytes if isinstance(nonsense, bytes) else channel.send_str
        await send(nonsense)
        await channel.send_str(say("LISTEN", "/sidecar/transport"))
        return await heard(channel)

    assert following(served, work) == ("/sidecar/transport", ["measuring"])


def test_a_long_message_ends_the_connection(serve):
    """Closed with 1009, message too big (RFC 6455 §7.4.1)."""

    async def work(channel):
        await channel.send_str("x" * (LONGEST_COMMAND + 1))
        await channel.receive(timeout=PATIENCE_S)
        return channel.close_code

    assert following(serve(), work) == 1009


def test_only_so_many_may_follow_at_once(serve, a_snapshot):
    """One more is refused with 503, and welcome as soon as another has left."""
    served = serve()
    served.offer(a_snapshot())

    async def run():
        async with aiohttp.ClientSession() as session:
            channels = [await session.ws_connect(served.url) for _ in range(MOST_LISTENERS_OF_ONE)]
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await session.ws_connect(served.url)
            await channels[0].close()
            again = await session.ws_connect(served.url)
            await again.send_str(say("LISTEN", "/sidecar/transport"))
            value = await heard(again)
            for channel in (*channels, again):
                await channel.close()
            return refused.value.status, value

    assert asyncio.run(run()) == (503, ("/sidecar/transport", ["measuring"]))


class Sleeper:
    """A websocket client that follows the advice's sentence and reads nothing."""

    def __init__(self, served):
        self.socket = socket.socket()
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        self.socket.settimeout(PATIENCE_S)
        self.socket.connect(("127.0.0.1", served.port))
        # RFC 6455 §4.1: the smallest handshake; §5.3: a client masks, here with zeros.
        self.socket.sendall(
            b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
        )
        command = say("LISTEN", "/sidecar/move/reason").encode()
        self.socket.sendall(bytes([0x81, 0x80 | len(command), 0, 0, 0, 0]) + command)

    def wake(self, end):
        """Everything that was sent, up to what ends with *end*."""
        said = b""
        while end not in said[-200:]:
            said += self.socket.recv(1 << 20)
        return said


def flooded(served, a_snapshot, times):
    """Offers sentences of 60 kB each, more than all buffers hold, each in an update of its own."""
    for number in range(times):
        reason = f"{number:>60000} of {times}"
        served.offer(a_snapshot(-20.0, stems=(), advice=Advice("move", Move(-1.0, reason=reason))))
        served.engine.run(asyncio.sleep(0.002))


@pytest.mark.slow
def test_a_client_that_does_not_read_holds_up_nobody_and_misses_only_the_past(serve, a_snapshot):
    """Another one gets the newest value meanwhile; the sleeper finds it when it wakes, but not all before."""
    served = serve(update_hz=1000.0)
    served.offer(a_snapshot(-20.0))
    sleeper = Sleeper(served)

    async def work(channel):
        await channel.send_str(say("LISTEN", "/sidecar/momentary"))
        await asyncio.to_thread(flooded, served, a_snapshot, 400)
        served.offer(a_snapshot(-31.0, stems=(), advice=Advice("move", Move(-1.0, reason="the newest"))))
        return (await heard_until(channel, lambda value: value[1] == [-31.0]))[-1]

    assert following(served, work) == ("/sidecar/momentary", [-31.0])
    said = sleeper.wake(b"the newest")
    sleeper.socket.close()

    assert b" of 400" in said
    assert said.count(b" of 400") < 400


@pytest.mark.slow
def test_a_client_that_does_not_read_does_not_hold_up_the_end(serve, a_snapshot):
    """Closing gives up on it after a moment."""
    served = serve(update_hz=1000.0)
    served.offer(a_snapshot(-20.0))
    sleeper = Sleeper(served)
    flooded(served, a_snapshot, 200)
    ended = threading.Thread(target=served.end)
    ended.start()
    ended.join(PATIENCE_S)

    assert not ended.is_alive()
    sleeper.socket.close()


@pytest.mark.slow
def test_a_whole_run_can_be_followed_to_its_last_value(serve):
    """A rehearsal, fast: loudness arrives as it is measured, and at the end exactly what was read last."""
    served = serve(update_hz=50.0)
    session = Session(
        RehearsalSource(pace="fast"), RunOptions(load_goal("r128"), fast=True), outlets=[served.offer]
    )

    def run():
        try:
            session.run(for_s=40.0)
        finally:
            served.end()

    async def work(channel):
        for path in ("/sidecar/integrated", "/sidecar/seconds", "/sidecar/transport"):
            await channel.send_str(say("LISTEN", path))
        ended = asyncio.create_task(asyncio.to_thread(run))
        values = []
        async with asyncio.timeout(RUN_S):
            async for message in channel:
                values += codec.parse(message.data)
        await ended
        return values

    values = following(served, work)
    last, reading = dict(values), session.snapshot().reading

    assert last["/sidecar/transport"] == ["ended"]
    assert [np.float32(reading.integrated)] == last["/sidecar/integrated"]
    assert [np.float32(reading.seconds)] == last["/sidecar/seconds"]
    times = [arguments[0] for address, arguments in values if address == "/sidecar/seconds"]
    assert sorted(set(times)) == times
    assert len(times) > 10
