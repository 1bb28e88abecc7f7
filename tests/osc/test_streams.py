"""OSC over TCP, on real sockets: frames as RFC 1055 and OSC 1.1 have them, taken apart by the test itself."""

import contextlib
import random
import socket
import struct
import time

import pytest
from hostile import hostile_packet

from sidecar.errors import NetworkError
from sidecar.model.commands import Mark, Pause, SelectGoal
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec
from sidecar.osc.sockets import tcp as streams_module
from sidecar.osc.sockets.framing import Slip
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal

PATIENCE_S = 60.0
END, ESC = b"\xc0", b"\xdb"
SLIP = Slip(100)


def test_a_caller_that_was_switched_off_is_noticed_in_the_end():
    """Its place is needed: the system asks whether it is still there (RFC 1122 §4.2.3.6)."""
    with bind("127.0.0.1", 0, "--osc-tcp", socket.SOCK_STREAM) as listening:
        listening.settimeout(PATIENCE_S)
        listening.listen()
        with socket.create_connection(listening.getsockname()), listening.accept()[0] as accepted:
            assert accepted.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) != 0


class Caller:
    """A TCP connection that speaks SLIP without any code of the sidecar's."""

    def __init__(self, address):
        self.socket = socket.create_connection(address, timeout=PATIENCE_S)
        self.rest = b""

    def say(self, address, tags="", values=()):
        packet = codec.message(address, tags, values).dgram
        escaped = packet.replace(ESC, ESC + b"\xdd").replace(END, ESC + b"\xdc")
        self.socket.sendall(END + escaped + END)

    def packet(self):
        while True:
            frame, end, rest = self.rest.partition(END)
            if end:
                self.rest = rest
                if frame:
                    return frame.replace(ESC + b"\xdc", END).replace(ESC + b"\xdd", ESC)
                continue
            more = self.socket.recv(65_536)
            if not more:
                raise EOFError
            self.rest += more

    def until(self, address):
        end = time.monotonic() + PATIENCE_S
        heard = []
        while time.monotonic() < end:
            heard += codec.parse(self.packet())
            if any(found == address for found, _ in heard):
                return heard
        raise AssertionError(f"{address} never came, only {heard}")


def a_snapshot(**changes):
    return Snapshot(transport="measuring", goal=load_goal("r128"), reading=Reading(-20.0), **changes)


@pytest.fixture
def open_port():
    """A port with TCP: the engine, the port, the TCP address, the commands."""
    with EventLoop() as engine:
        port, asked = OscPort([], update_hz=50.0), []
        listening = bind("127.0.0.1", 0, "--osc-tcp", socket.SOCK_STREAM)
        address = listening.getsockname()
        engine.run(port.open(bind("127.0.0.1", 0), asked.append, listening))
        engine.soon(port.offer, a_snapshot())
        yield engine, port, address, asked
        engine.run(port.close())


@pytest.fixture
def caller(open_port):
    made = Caller(open_port[2])
    yield made
    made.socket.close()


def drops(caller, reason):
    caller.say(f"/sidecar/drops/{reason}")
    return dict(caller.until(f"/sidecar/drops/{reason}"))[f"/sidecar/drops/{reason}"][0]


def test_the_same_is_spoken_as_over_udp(open_port, caller):
    """A command is accepted, a question answered, a fault reported, all on the connection."""
    _, _, _, asked = open_port
    caller.say("/sidecar/goal", "s", ["a85"])
    caller.say("/sidecar/momentary")
    caller.say("/sidecar/fader", "s", ["up"])

    assert caller.until("/sidecar/momentary")[-1] == ("/sidecar/momentary", [-20.0])
    assert "needs a number" in caller.until("/sidecar/error")[-1][1][1]
    assert [SelectGoal("a85")] == asked


def test_a_watch_streams_on_the_connection_that_asked(open_port, caller):
    """And on no other one."""
    engine, port, address, _ = open_port
    silent = Caller(address)
    caller.say("/sidecar/watch", "s", ["reading"])
    caller.until("/sidecar/watching")
    for _ in range(3):
        engine.soon(port.offer, a_snapshot())
        caller.until("/sidecar/momentary")
    silent.say("/sidecar/goal/name")

    assert codec.parse(silent.packet()) == [("/sidecar/goal/name", ["r128"])]
    silent.socket.close()


def test_a_watch_ends_with_its_connection(open_port):
    """The place is free again, and the others go on."""
    engine, port, address, _ = open_port
    caller = Caller(address)
    caller.say("/sidecar/watch")
    caller.until("/sidecar/watching")
    assert len(port.status()) == 1
    caller.socket.close()
    _wait_for(lambda: not port.status())

    assert port.status() == ()
    engine.soon(port.offer, a_snapshot())


def test_frames_may_come_in_pieces_and_many_at_once(open_port, caller):
    """More than a turn's share in one piece are all heard; a byte at a time too."""
    _, _, _, asked = open_port
    frames = b"".join(SLIP.frame(codec.message("/sidecar/nudge", "f", [n * 0.1]).dgram) for n in range(120))
    caller.socket.sendall(frames)
    _wait_for(lambda: len(asked) == 120)
    for byte in SLIP.frame(codec.message("/sidecar/pause", "", []).dgram):
        caller.socket.sendall(bytes([byte]))
    _wait_for(lambda: len(asked) == 121)

    assert [pytest.approx(n * 0.1) for n in range(120)] == [command.change_db for command in asked[:120]]
    assert Pause() == asked[120]


def test_sizes_in_place_of_slip_are_understood_and_answered_alike(open_port):
    """OSC 1.0 has them; the first byte selects."""
    _, _, address, asked = open_port
    with socket.create_connection(address, timeout=PATIENCE_S) as caller:
        for message in (codec.message("/sidecar/pause", "", []), codec.message("/sidecar/goal/name", "", [])):
            caller.sendall(struct.pack(">i", message.size) + message.dgram)
        expected = codec.message("/sidecar/goal/name", "s", ["r128"]).dgram
        answer = caller.recv(4 + len(expected), socket.MSG_WAITALL)

    assert struct.pack(">i", len(expected)) + expected == answer
    assert [Pause()] == asked


def test_a_size_that_cannot_be_ends_the_connection(open_port, caller):
    """Nothing after it could be read; the others go on."""
    _, _, address, _ = open_port
    with socket.create_connection(address, timeout=PATIENCE_S) as lost:
        lost.sendall(struct.pack(">i", 2**23) + b"/sidecar/reset")
        with contextlib.suppress(ConnectionResetError):
            assert lost.recv(1) == b""

    assert drops(caller, "broken") == 1
    assert open_port[3] == []


def test_a_broken_frame_costs_only_itself(open_port, caller):
    """No SLIP, no OSC, or far too long: counted, and the next one is heard."""
    caller.socket.sendall(END + ESC + b"\x01" + END + b"nonsense" + END + bytes(100_000) + END)
    caller.say("/sidecar/pause")
    _wait_for(lambda: open_port[3])

    assert [Pause()] == open_port[3]
    assert drops(caller, "broken") == 3


@pytest.mark.slow
def test_a_thousand_hostile_frames_leave_the_connection_useful(open_port, caller):
    """Noise within frames, broken frames, and bytes between them; a sound command at the end is accepted."""
    _, _, _, asked = open_port
    chance = random.Random(3)
    for _ in range(1000):
        packet = hostile_packet(chance)
        caller.socket.sendall(packet + END if chance.random() < 0.5 else SLIP.frame(packet))
    caller.say("/sidecar/mark", "s", ["the end"])
    _wait_for(lambda: Mark("the end") in asked)

    assert Mark("the end") == asked[-1]


def test_who_does_not_read_is_dropped_and_nobody_waits(open_port, caller, monkeypatch):
    """One connection asks for everything and reads nothing: it is closed and counted. The other, asking for
    the same, misses nothing meanwhile."""
    monkeypatch.setattr(streams_module, "_MOST_UNREAD", 4096)
    engine, port, address, _ = open_port
    lazy = socket.socket()
    lazy.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1)
    lazy.connect(address)
    lazy.sendall(SLIP.frame(codec.message("/sidecar/watch", "", []).dgram))
    caller.say("/sidecar/watch")
    caller.until("/sidecar/watching")
    _wait_for(lambda: len(port.status()) == 2)
    rounds = 0
    while len(port.status()) == 2 and rounds < 20_000:
        rounds += 1
        engine.soon(port.offer, a_snapshot(beat=rounds, fader_db=-float(rounds % 100)))
        heard = dict(caller.until("/sidecar/heartbeat"))
        assert [rounds] == heard["/sidecar/heartbeat"]

    assert len(port.status()) == 1
    assert drops(caller, "slow") == 1
    lazy.close()


def test_there_is_a_most_of_connections_from_one_host(open_port):
    """One more is closed at once; when one ends there is room again."""
    address = open_port[2]
    callers = [Caller(address) for _ in range(streams_module.MOST_OF_ONE)]
    for there in callers:
        there.say("/sidecar/goal/name")
        there.until("/sidecar/goal/name")
    beyond = Caller(address)
    with pytest.raises((EOFError, ConnectionError)):
        beyond.packet()
    assert drops(callers[0], "full") == 1
    for each in (*callers, beyond):
        each.socket.close()


def test_a_connection_over_which_no_packet_comes_is_closed(open_port, monkeypatch):
    """Bytes that never become a packet do not keep it; it is counted."""
    monkeypatch.setattr(streams_module, "FIRST_S", 0.2)
    address = open_port[2]
    idle = Caller(address)
    idle.socket.sendall(b"\xc0\xc0")
    with pytest.raises((EOFError, ConnectionError)):
        idle.packet()
    there = Caller(address)
    assert drops(there, "idle") == 1
    for each in (idle, there):
        each.socket.close()


def test_a_connection_that_was_used_is_closed_when_it_has_been_idle_for_long(open_port, monkeypatch):
    monkeypatch.setattr(streams_module, "FIRST_S", 0.2)
    monkeypatch.setattr(streams_module, "IDLE_S", 0.3)
    there = Caller(open_port[2])
    there.say("/sidecar/goal/name")
    there.until("/sidecar/goal/name")
    with pytest.raises((EOFError, ConnectionError)):
        there.packet()
    there.socket.close()


def test_a_port_in_use_is_refused_with_its_own_option():
    """The message names the option that chooses another."""
    taken = bind("127.0.0.1", 0, "--osc-tcp", socket.SOCK_STREAM)
    taken.listen()
    with pytest.raises(NetworkError, match="--osc-tcp"):
        bind("127.0.0.1", taken.getsockname()[1], "--osc-tcp", socket.SOCK_STREAM)
    taken.close()


def test_closing_ends_the_connections(open_port):
    """A reader sees the end of the stream, after the last word."""
    engine, port, address, _ = open_port
    caller = Caller(address)
    caller.say("/sidecar/watch", "s", ["run"])
    caller.until("/sidecar/watching")
    engine.run(port.close())
    with pytest.raises((EOFError, ConnectionError)):
        while True:
            caller.packet()
    caller.socket.close()


def _wait_for(condition):
    end = time.monotonic() + PATIENCE_S
    while not condition() and time.monotonic() < end:
        time.sleep(0.01)
