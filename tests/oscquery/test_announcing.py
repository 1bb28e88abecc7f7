"""Discovery as the command line starts it, and the announcement that others find it by."""

import argparse
import asyncio
import re
import socket
import sys

import pytest
from zeroconf import ServiceStateChange
from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf

from sidecar.cli.run.discovery import discovery
from sidecar.errors import MissingPackage, NetworkError, SettingsError
from sidecar.osc.sockets.udp import bind
from sidecar.oscquery.announce import OSC, OSCQUERY, services
from sidecar.run.event_loop import EventLoop

PATIENCE_S = 60.0


@pytest.fixture
def engine():
    with EventLoop() as made:
        yield made


@pytest.fixture
def osc():
    with bind("127.0.0.1", 0) as made:
        yield made


def asked(port=None, announce=False):
    return argparse.Namespace(
        discovery_port=port, announce=announce, osc_rate=10.0, osc_allow=None, osc_root="/sidecar"
    )


class Browser:
    """Another machine's view of the network, here on this machine's loopback."""

    async def __aenter__(self):
        self._changed = asyncio.Condition()
        self._found = {}
        self._ear = AsyncZeroconf(interfaces=["127.0.0.1"])
        kinds = [OSCQUERY, OSC]
        self._browser = AsyncServiceBrowser(self._ear.zeroconf, kinds, handlers=[self._note])
        self._tasks = set()
        return self

    async def __aexit__(self, *_error):
        await self._browser.async_cancel()
        await asyncio.gather(*self._tasks)
        await self._ear.async_close()

    def _note(self, zeroconf, service_type, name, state_change):
        task = asyncio.get_running_loop().create_task(self._look(name, service_type, state_change))
        self._tasks.add(task)

    async def _look(self, name, kind, change):
        info = AsyncServiceInfo(kind, name)
        is_there = change is not ServiceStateChange.Removed
        if is_there:
            await info.async_request(self._ear.zeroconf, 3000)
        async with self._changed:
            if is_there:
                self._found[name] = (info.parsed_addresses(), info.port)
            else:
                self._found.pop(name, None)
            self._changed.notify_all()

    async def until(self, condition):
        """What is known once the condition holds of it."""
        async with asyncio.timeout(PATIENCE_S), self._changed:
            await self._changed.wait_for(lambda: condition(self._found))
            return dict(self._found)


def test_nobody_is_told_unless_asked(engine, osc):
    """Off by default: no outlet, no port."""
    with discovery(engine, asked(), osc) as outlets:
        assert outlets == []


@pytest.mark.slow
def test_a_browser_on_the_network_finds_the_run_and_sees_it_go(engine, osc):
    """Both services with address and port while it runs; a second run has a name of its own."""

    async def run():
        async with Browser() as browser:
            with discovery(engine, asked(announce=True), osc):
                first = await browser.until(lambda found: len(found) == 2)
                with discovery(engine, asked(announce=True), osc):
                    both = await browser.until(lambda found: len(found) == 4)
            await browser.until(lambda found: not found)
            return first, both

    first, both = asyncio.run(run())

    (commands,), (questions,) = ([name for name in first if name.endswith(kind)] for kind in (OSC, OSCQUERY))
    assert (["127.0.0.1"], osc.getsockname()[1]) == first[commands]
    assert commands.removesuffix(OSC) == questions.removesuffix(OSCQUERY)
    assert first == {name: where for name, where in both.items() if name in first}
    assert len({port for _, port in both.values()}) == 3  # one for commands, two to ask at


def test_what_is_announced_is_the_bind_address_only():
    """One address, two ports, the types of the proposal."""
    told = services("192.0.2.7", http_port=80, osc_port=9139)

    assert [(info.type, info.port, info.parsed_addresses()) for info in told] == [
        ("_oscjson._tcp.local.", 80, ["192.0.2.7"]),
        ("_osc._udp.local.", 9139, ["192.0.2.7"]),
    ]


def test_a_long_name_of_the_machine_is_cut_and_made_plain(monkeypatch):
    """RFC 1035 §2.3.4: no label is longer than 63 bytes; §2.3.1: letters, digits and hyphens in hosts."""
    monkeypatch.setattr(socket, "gethostname", lambda: "Ünö's " + "m" * 80 + ".lan")
    told, _ = services("192.0.2.7", http_port=65_535, osc_port=9139)

    assert all(len(label.encode()) <= 63 for label in told.name.split("."))
    assert re.fullmatch("[A-Za-z0-9-]{1,63}[.]local[.]", told.server)


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])
def test_every_address_at_once_cannot_be_announced(host):
    """The person says which network is meant."""
    with pytest.raises(SettingsError, match=f"not {host}: give --osc-bind"):
        services(host, http_port=80, osc_port=9139)


@pytest.mark.parametrize(("package", "module"), [("aiohttp", "server"), ("zeroconf", "announce")])
def test_a_missing_package_is_named_with_what_installs_it(engine, osc, monkeypatch, package, module):
    """Discovery is an extra; who asks for it without it learns the line."""
    monkeypatch.delitem(sys.modules, f"sidecar.oscquery.{module}", raising=False)
    monkeypatch.setitem(sys.modules, package, None)

    with (
        pytest.raises(MissingPackage, match=f"package {package}: install it with 'pip install aiohttp"),
        discovery(engine, asked(announce=True), osc),
    ):
        pass


def test_a_taken_port_is_said_before_anything_runs(engine, osc):
    """The port of another copy stays its own."""
    with (
        socket.create_server(("127.0.0.1", 0)) as other,
        pytest.raises(NetworkError, match="--discovery-port"),
        discovery(engine, asked(port=other.getsockname()[1]), osc),
    ):
        pass
