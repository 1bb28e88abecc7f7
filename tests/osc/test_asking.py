"""The other end of a watch, on real sockets and against a real port."""

import contextlib
import errno
import json
import os
import signal
import socket
import subprocess
import sys
import time

import pytest
from pythonosc.osc_message_builder import OscMessageBuilder

from sidecar.cli.arguments.parser import make_parser
from sidecar.cli.commands.listen import _print_datagram
from sidecar.errors import NetworkError
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.osc.watch_client import WatchClient
from sidecar.osc.watches import LEASE_S
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal

PATIENCE_S = 30.0


@pytest.fixture
def peer():
    """A socket in a sidecar's place: what it is asked is read from it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        made.bind(("127.0.0.1", 0))
        made.settimeout(PATIENCE_S)
        yield made


def asked(peer):
    return codec.parse(peer.recv(65_535))


def test_it_asks_each_second_until_something_comes_and_then_thrice_a_lease(peer):
    """A request that is lost costs a second at first, and later nothing."""
    asking = WatchClient(resolve(f"127.0.0.1:{peer.getsockname()[1]}"))
    times = []
    peer.setblocking(False)
    for tenth in range(int(10 * (3 * LEASE_S))):
        now_s = 100.0 + tenth / 10
        asking.keep_up(now_s)
        with contextlib.suppress(BlockingIOError):
            times.append((asked(peer), round(now_s - 100.0)))
        if now_s >= 105.0:
            asking.note_answer(now_s)
    asking.close()

    assert {tuple((a, tuple(v)) for a, v in said) for said, _ in times} == {(("/sidecar/watch", ()),)}
    assert [at for _, at in times] == [0, 1, 2, 3, 4, 5, 25, 45, 65, 85, 105, 125, 145, 165]


def test_it_asks_for_the_groups_and_the_rate_that_were_given(peer):
    """And says when it wants no more."""
    asking = WatchClient(resolve(f"127.0.0.1:{peer.getsockname()[1]}/alert,reading@5"))
    asking.keep_up(0.0)
    asking.close()

    assert asked(peer) == [("/sidecar/watch", ["reading", "alert", 5.0])]
    assert asked(peer) == [("/sidecar/unwatch", [])]


def test_nobody_else_can_put_words_in(peer):
    """Only the sidecar that was asked gets through to the socket."""
    asking = WatchClient(resolve(f"127.0.0.1:{peer.getsockname()[1]}"))
    asking.keep_up(0.0)
    _, address = peer.recvfrom(65_535)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stranger:
        stranger.sendto(b"stranger", address)
    peer.sendto(b"peer", address)
    asking.socket.settimeout(PATIENCE_S)

    assert asking.socket.recv(65_535) == b"peer"
    asking.close()


@pytest.mark.parametrize("place", ["255.255.255.255:9139", "[fe80::1]:9139"])
def test_an_address_that_is_no_single_machines_is_refused_in_words(place):
    """A broadcast, and a link-local address without its link (RFC 4007 §6)."""
    with pytest.raises(NetworkError, match=r"cannot be reached .* give the address of one machine"):
        WatchClient(resolve(place))


def test_listen_prints_what_it_asked_a_sidecar_for():
    """A whole process beside a port without a listener for it."""
    with EventLoop() as engine:
        port = OscPort([])
        server = bind("127.0.0.1", 0)
        number = server.getsockname()[1]
        engine.run(port.open(server, print))
        snapshot = Snapshot(transport="measuring", goal=load_goal("r128"), reading=Reading(-20.0))
        engine.soon(port.offer, snapshot)
        listener = subprocess.Popen(
            [sys.executable, "-m", "sidecar", "listen", "--from", f"127.0.0.1:{number}/reading", "--json"],
            stdout=subprocess.PIPE,
            text=True,
        )
        first = json.loads(listener.stdout.readline())
        listener.send_signal(signal.SIGINT)
        listener.communicate(timeout=PATIENCE_S)
        end = time.monotonic() + PATIENCE_S
        while port.status() and time.monotonic() < end:
            time.sleep(0.02)
        left = port.status()
        engine.run(port.close())

    assert first == {"address": "/sidecar/momentary", "arguments": [-20.0]}
    assert (listener.returncode, left) == (0, ())


def test_what_is_printed_does_not_steer_the_terminal(capsys):
    """Anybody may send an address or a text with escape sequences in it; each message stays one line."""
    options = make_parser().parse_args(["listen"])
    with bind("127.0.0.1", 0) as server, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        server.settimeout(PATIENCE_S)
        for address, text in (("/a", "b\x1b]0;c\a\nd\x9b2J\u202ee"), ("/\x1b[2J", "f")):
            builder = OscMessageBuilder(address)  # our own leaves such characters out
            builder.add_arg(text, "s")
            sender.sendto(builder.build().dgram, server.getsockname())
            assert _print_datagram(server, options)
    told = capsys.readouterr()

    assert told.out == "/a b\ufffd]0;c\ufffd\ufffdd\ufffd2J\ufffde\n"
    assert "the address has no end, or is not printable ASCII\n" in told.err
    assert told.err.count("\n") == 1


def test_a_way_that_is_cut_for_a_moment_ends_no_listening(monkeypatch):
    """A host that is switched off is reported on the socket that asks it; it may be switched on again."""
    monkeypatch.setattr("sidecar.cli.commands.listen.time.sleep", lambda _s: None)

    class Cut:
        def recvfrom(self, _most):
            raise OSError(errno.EHOSTUNREACH, os.strerror(errno.EHOSTUNREACH))

    assert not _print_datagram(Cut(), make_parser().parse_args(["listen"]))


@pytest.mark.slow
def test_listen_says_what_may_be_wrong_where_nothing_comes(peer):
    """The three things that keep a sidecar from being heard; asked goes on meanwhile."""
    done = subprocess.run(
        [
            *(sys.executable, "-m", "sidecar", "listen", "--for", "4"),
            *("--from", f"127.0.0.1:{peer.getsockname()[1]}"),
        ],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=True,
    )

    assert done.stderr.count("Check that a sidecar runs there") == 1
    assert asked(peer) == [("/sidecar/watch", [])]
