"""The port of a run on real UDP sockets."""

import random
import socket
import time

import pytest
from hostile import hostile_packet

from sidecar.errors import NetworkError
from sidecar.model.commands import FaderAt, Pause, SelectGoal
from sidecar.model.readings import Alert, Reading
from sidecar.model.snapshot import FaderFeedback, Snapshot
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve, split
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.osc.table.addresses import SENT
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal
from sidecar.surfaces.link import SurfaceLink
from sidecar.surfaces.surface import Surface

PATIENCE_S = 60.0

SURFACE = Surface(
    "mine",
    "Mine",
    "/master/level",
    "/master/now",
    "db",
    -60.0,
    6.0,
    stem_feedback_address="/s/{stem}/now",
)


class Peer:
    """A UDP socket that plays a light, a surface or a script."""

    def __init__(self, family=socket.AF_INET, host="127.0.0.1"):
        self.socket = socket.socket(family, socket.SOCK_DGRAM)
        self.socket.bind((host, 0))
        self.socket.settimeout(PATIENCE_S)
        self.port = self.socket.getsockname()[1]

    def messages_until(self, address):
        """All messages up to and with the first one at *address*."""
        end = time.monotonic() + PATIENCE_S
        heard = []
        while time.monotonic() < end:
            heard += codec.parse(self.socket.recv(65_535))
            if any(found == address for found, _ in heard):
                return heard
        raise AssertionError(f"{address} never came, only {heard}")

    def close(self):
        self.socket.close()


@pytest.fixture
def peer():
    made = Peer()
    yield made
    made.close()


NOW_S = 100.0


def clock():
    return NOW_S


def lower(fader, position_db):
    """The guarded line, opened and at its target with the first step: half a decibel lower, far from now."""
    assert fader.open() == ""
    fader.confirm(position_db + 0.4)
    fader.clock = lambda: NOW_S + 0.2
    assert fader.advance(position_db, may_rise=False) == position_db
    fader.clock = clock


@pytest.fixture
def run_port():
    """Starts a port that sends to some targets; gives the engine, the port, its address, its commands."""
    closing = []

    def start(*targets, surface_target=None):
        engine = EventLoop().__enter__()
        link = SurfaceLink(SURFACE, resolve(surface_target), clock=clock) if surface_target else None
        start.fader = link and link.fader
        port = OscPort([resolve(target) for target in targets], update_hz=50.0, link=link)
        server = bind("127.0.0.1", 0)
        address = server.getsockname()
        asked = []
        engine.run(port.open(server, asked.append, report_fader=asked.append))
        closing.append((engine, port))
        return engine, port, address, asked

    yield start
    for engine, port in closing:
        engine.run(port.close())
        engine.__exit__()


def a_snapshot(seconds=0.0, **changes):
    reading = Reading(-20.0, seconds=seconds)
    return Snapshot(transport="measuring", goal=load_goal("r128"), reading=reading, **changes)


def test_readings_and_state_reach_the_target(run_port, peer):
    """One snapshot is enough for all groups to go out."""
    engine, port, _, _ = run_port(f"127.0.0.1:{peer.port}")
    engine.soon(port.offer, a_snapshot(alerts=(Alert("hot", "on", -18.0, -20.0),)))
    heard = dict(peer.messages_until("/sidecar/momentary"))

    assert heard["/sidecar/momentary"] == [pytest.approx(-20.0)]
    assert heard["/sidecar/alert/hot"] == [1, pytest.approx(-18.0), pytest.approx(-20.0)]
    assert heard["/sidecar/goal/name"] == ["r128"]


def test_an_alert_that_changes_does_not_wait_for_the_next_heartbeat(run_port, peer):
    """A second snapshot a moment later sends the alert again because its state is another one."""
    engine, port, _, _ = run_port(f"127.0.0.1:{peer.port}")
    engine.soon(port.offer, a_snapshot(alerts=(Alert("hot", "off"),)))
    peer.messages_until("/sidecar/alert/hot")
    engine.soon(port.offer, a_snapshot(alerts=(Alert("hot", "on"),)))
    heard = dict(peer.messages_until("/sidecar/alert/hot"))

    assert heard["/sidecar/alert/hot"][0] == 1


def test_every_target_receives_the_same_and_a_dead_one_holds_up_no_other(run_port, peer):
    """The first target has no listener; the others still receive everything."""
    other = Peer()
    closed = Peer()
    closed.close()
    engine, port, _, _ = run_port(
        f"127.0.0.1:{closed.port}", f"127.0.0.1:{peer.port}", f"localhost:{other.port}"
    )
    engine.soon(port.offer, a_snapshot())

    assert dict(peer.messages_until("/sidecar/momentary"))
    assert dict(other.messages_until("/sidecar/momentary"))
    assert [t.name for t in port.status()[1:]] == [f"127.0.0.1:{peer.port}", f"localhost:{other.port}"]
    other.close()


def test_a_target_may_have_an_ipv6_address(run_port):
    """Each family is sent from a socket of its own."""
    peer = Peer(socket.AF_INET6, "::1")
    engine, port, _, _ = run_port(f"[::1]:{peer.port}")
    engine.soon(port.offer, a_snapshot())

    assert dict(peer.messages_until("/sidecar/momentary"))
    peer.close()


def test_a_target_on_another_machine_needs_no_other_bind(run_port):
    """A socket bound to 127.0.0.1 cannot send anywhere else, so another one does. 192.0.2.1 is unassigned
    (RFC 5737): the datagram goes out, or there is no network at all."""
    engine, port, _, _ = run_port("192.0.2.1:9000/run")
    engine.soon(port.offer, a_snapshot())
    _wait_for(lambda: port.status()[0].sent + port.status()[0].failed)
    (target,) = port.status()

    assert (target.sent, "") == (1, target.fault) or "unreachable" in target.fault


def test_a_workstation_that_could_not_answer_is_refused():
    """Its fader would never be heard on 127.0.0.1; the message says what to give."""
    with EventLoop() as engine:
        port = OscPort([], link=SurfaceLink(SURFACE, resolve("192.0.2.1:8000"), clock=clock))
        server = bind("127.0.0.1", 0)
        with pytest.raises(NetworkError, match="--osc-bind"):
            engine.run(port.open(server, print))
        server.close()


def test_the_same_socket_that_sends_takes_commands(run_port, peer):
    """A surface that answers to the port that spoke to it is understood."""
    engine, port, address, asked = run_port(f"127.0.0.1:{peer.port}")
    engine.soon(port.offer, a_snapshot())
    _, sender = peer.socket.recvfrom(65_535)
    peer.socket.sendto(codec.message("/sidecar/pause", "", []).dgram, sender)
    _wait_for(lambda: asked)

    assert address == sender
    assert [Pause()] == asked


def test_a_storm_of_nonsense_does_not_keep_a_command_from_being_heard(run_port, peer):
    """Hostile datagrams are refused one by one; the sound one among them is accepted."""
    _, _, address, asked = run_port(f"127.0.0.1:{peer.port}")
    bad = b"#bundle\0" + bytes(8) + b"\xff\xff\xff\xfc"
    for _ in range(200):
        peer.socket.sendto(bad, address)
    peer.socket.sendto(codec.message("/sidecar/goal", "s", ["a85"]).dgram, address)
    _wait_for(lambda: asked)

    assert [SelectGoal("a85")] == asked


@pytest.mark.slow
def test_readings_go_on_through_a_flood(run_port, peer):
    """Three thousand hostile datagrams between the snapshots: each snapshot still arrives, in order."""
    engine, port, address, _ = run_port(f"127.0.0.1:{peer.port}/reading")
    chance = random.Random(2)
    flood = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    for beat in range(30):
        for _ in range(100):
            flood.sendto(hostile_packet(chance), address)
        time_s = 0.5 * beat
        engine.soon(port.offer, a_snapshot(seconds=time_s))
        heard = dict(peer.messages_until("/sidecar/seconds"))
        assert [time_s] == heard["/sidecar/seconds"]
    flood.close()


def test_a_fader_is_sent_and_answers_at_the_same_socket(run_port, peer):
    """One datagram a position, plain and unbundled; the answer to its sender becomes a command."""
    _engine, port, address, asked = run_port(surface_target=f"127.0.0.1:{peer.port}")
    lower(run_port.fader, -3.0)
    datagram, sender = peer.socket.recvfrom(65_535)
    peer.socket.sendto(codec.message("/master/now", "f", [-2.5]).dgram, sender)
    _wait_for(lambda: asked)

    assert codec.message("/master/level", "f", [-3.0]).dgram == datagram
    assert address == sender
    assert asked == [FaderFeedback(-2.5, NOW_S)]
    assert [(t.name, t.sent, t.failed) for t in port.status()] == [(f"127.0.0.1:{peer.port}", 1, 0)]


def test_stems_are_heard_by_their_number(run_port, peer):
    """The third stem's fader has the third address."""
    _, _, address, asked = run_port(surface_target=f"127.0.0.1:{peer.port}")
    peer.socket.sendto(codec.message("/s/3/now", "f", [-3.0]).dgram, address)
    _wait_for(lambda: asked)

    assert asked == [FaderFeedback(-3.0, NOW_S, "3")]


def test_a_workstation_at_an_ipv6_address_is_reached(run_port):
    """Its family gets a socket although no target has it."""
    peer = Peer(socket.AF_INET6, "::1")
    _engine, _, _, _ = run_port(surface_target=f"[::1]:{peer.port}")
    lower(run_port.fader, -3.0)

    assert peer.messages_until("/master/level") == [("/master/level", [-3.0])]
    peer.close()


def test_snapshots_do_not_go_to_the_workstation(run_port, peer):
    """Only fader moves do: addresses outside its surface file are not sent to it."""
    other = Peer()
    engine, port, _, _ = run_port(f"127.0.0.1:{other.port}", surface_target=f"127.0.0.1:{peer.port}")
    engine.soon(port.offer, a_snapshot())
    other.messages_until("/sidecar/momentary")
    lower(run_port.fader, -1.0)

    assert peer.messages_until("/master/level") == [("/master/level", [-1.0])]
    other.close()


def test_what_else_a_workstation_tells_hides_neither_faders_nor_commands(run_port, peer, caplog):
    """One bundle has other addresses, a broken value, a fader and a command: the last two count, and
    only the broken value is worth a line in the log."""
    _, _, address, asked = run_port(surface_target=f"127.0.0.1:{peer.port}")
    bundle = codec.bundles(
        [
            codec.message("/transport/tempo", "f", [120.0]),
            codec.message("/master/now", "s", ["loud"]),
            codec.message("/master/now", "f", [-4.0]),
            codec.message("/sidecar/pause", "", []),
        ],
        time.time(),
    )
    peer.socket.sendto(next(bundle), address)
    _wait_for(lambda: len(asked) == 2)

    assert asked == [FaderFeedback(-4.0, NOW_S), Pause()]
    assert caplog.messages == ["OSC from 127.0.0.1 refused: /master/now needs one number, not ['loud']"]


def test_a_watcher_is_sent_readings_at_the_port_that_asked(run_port, peer):
    """No target was named: asking is enough, and the answer says how long it lasts."""
    engine, port, address, _ = run_port()
    engine.soon(port.offer, a_snapshot())
    peer.socket.sendto(codec.message("/sidecar/watch", "ss", ["reading", "alert"]).dgram, address)
    heard = dict(peer.messages_until("/sidecar/watching"))
    engine.soon(port.offer, a_snapshot())

    assert heard["/sidecar/watching"] == [60.0, 50.0, 26]
    assert heard["/sidecar/alert/hot"][:1] == [0]
    assert dict(peer.messages_until("/sidecar/momentary"))
    assert [target.name for target in port.status()] == [f"127.0.0.1:{peer.port}"]


def test_a_target_may_be_given_groups_and_a_rate(run_port, peer):
    """What it was not given does not come: after ten snapshots the alerts have come and no reading."""
    engine, port, _, _ = run_port(f"127.0.0.1:{peer.port}/alert,run@5")
    for _ in range(10):
        engine.soon(port.offer, a_snapshot())
    heard = [address for address, _ in peer.messages_until("/sidecar/heartbeat")]

    groups = {address.split("/")[2] for address in heard}
    assert groups == {"alert", "transport", "goal", "fader", "dropped", "script", "source", "heartbeat"}


@pytest.mark.parametrize(
    ("text", "rate_hz", "rows"),
    [
        ("127.0.0.1:9000", None, len(SENT)),
        ("127.0.0.1:9000@5", 5.0, len(SENT)),
        ("127.0.0.1:9000/alert", None, 5),
        ("127.0.0.1:9000/reading,alert@12.5", 12.5, 26),
        ("[::1]:9000/alert@50", 50.0, 5),
    ],
)
def test_how_a_target_is_written(text, rate_hz, rows):
    """Place, perhaps groups, perhaps a rate."""
    target = resolve(text)

    assert (9000, rate_hz, rows) == (target.address[1], target.rate_hz, len(target.selection.rows))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("127.0.0.1:9000/", "after the slash"),
        ("127.0.0.1:9000/alerts", "reading, move, stems, alert, auto, run"),
        ("127.0.0.1:9000/alert,", "after the slash"),
        ("127.0.0.1:9000@", "after the @"),
        ("127.0.0.1:9000@0.5", "1 to 50"),
        ("127.0.0.1:9000/alert@nan", "1 to 50"),
    ],
)
def test_groups_and_rates_that_are_none_are_refused(text, words):
    """The message shows what there is and an example."""
    with pytest.raises(NetworkError, match=words):
        resolve(text)


def test_a_sender_is_told_what_was_wrong(run_port, peer):
    """At the port it sent from; the command after it is accepted."""
    _, _, address, asked = run_port()
    peer.socket.sendto(codec.message("/sidecar/fader", "s", ["up"]).dgram, address)
    heard = dict(peer.messages_until("/sidecar/error"))
    peer.socket.sendto(codec.message("/sidecar/fader", "f", [-1.0]).dgram, address)
    _wait_for(lambda: asked)

    assert heard["/sidecar/error"] == ["/sidecar/fader", "/sidecar/fader needs a number, not 'up'"]
    assert [FaderAt(-1.0)] == asked


def test_a_port_in_use_is_refused_with_what_to_do():
    """The message names the port and the option that chooses another."""
    taken = bind("127.0.0.1", 0)
    try:
        with pytest.raises(NetworkError, match=rf"{taken.getsockname()[1]}.*--osc-port"):
            bind("127.0.0.1", taken.getsockname()[1])
    finally:
        taken.close()


@pytest.mark.parametrize("text", ["nowhere", "host:", "host:99999", "host:0", "host:port", ""])
def test_a_target_that_is_no_host_and_port_is_refused(text):
    """The message shows what one looks like."""
    with pytest.raises(NetworkError, match="HOST:PORT"):
        split(text)


def test_of_a_name_with_both_families_the_ipv4_address_counts(monkeypatch):
    """Where localhost is ::1 first, what listens on 127.0.0.1 would receive nothing."""
    both = [
        (socket.AF_INET6, socket.SOCK_DGRAM, 17, "", ("::1", 9000, 0, 0)),
        (socket.AF_INET, socket.SOCK_DGRAM, 17, "", ("127.0.0.1", 9000)),
    ]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_asked, **_how: both)

    assert resolve("localhost:9000").address == ("127.0.0.1", 9000)


def test_a_host_that_does_not_resolve_is_refused():
    """RFC 2606 reserves .invalid: it never resolves."""
    with pytest.raises(NetworkError, match=r"no-such-host\.invalid"):
        resolve("no-such-host.invalid:9000")


def _wait_for(condition):
    end = time.monotonic() + PATIENCE_S
    while not condition() and time.monotonic() < end:
        time.sleep(0.01)
