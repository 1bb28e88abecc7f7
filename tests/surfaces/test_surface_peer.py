"""Each shipped surface against a peer on a real UDP socket that plays the workstation or the touch panel."""

from __future__ import annotations

import math
import queue
import socket

import pytest

from sidecar.model.snapshot import FaderFeedback
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.settings.locations import shipped_configs
from sidecar.surfaces.link import SurfaceLink
from sidecar.surfaces.surface import load_surface

FOLDER = shipped_configs() / "surfaces"
SHIPPED = sorted(path.stem for path in FOLDER.glob("*.toml"))
PATIENCE_S = 60.0


class Rig:
    """A run's port on one side, on the other a peer that speaks only raw OSC, as its file's comments say."""

    def __init__(self, name):
        self.surface = load_surface(FOLDER / f"{name}.toml")
        self.peer = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.peer.bind(("127.0.0.1", 0))
        self.peer.settimeout(PATIENCE_S)
        self.asked: queue.SimpleQueue[FaderFeedback] = queue.SimpleQueue()
        server = bind("127.0.0.1", 0)
        self.address = server.getsockname()
        self.engine = EventLoop().__enter__()
        target = resolve(f"127.0.0.1:{self.peer.getsockname()[1]}")
        self.now_s = 100.0
        link = SurfaceLink(self.surface, target, clock=lambda: self.now_s)
        self.fader = link.fader
        self.port = OscPort([], link=link)
        self.engine.run(self.port.open(server, lambda _command: None, report_fader=self.asked.put))

    def send(self, target_db, from_db):
        """One step of the fader, a quarter of a second after the peer reported its position."""
        assert self.fader.open() == ""
        self.fader.confirm(from_db)
        self.now_s += 0.25
        assert self.fader.advance(target_db, may_rise=True) is not None

    def hear(self):
        """The next message that the surface is sent, and that it came from the port that takes commands."""
        data, sender = self.peer.recvfrom(65_535)
        assert self.address == sender
        [message] = codec.parse(data)
        return message

    def say(self, address, value):
        """The peer's own report."""
        self.peer.sendto(codec.message(address, "f", [value]).dgram, self.address)
        return self.asked.get(timeout=PATIENCE_S)

    def close(self):
        self.engine.run(self.port.close())
        self.engine.__exit__(None)
        self.peer.close()


@pytest.fixture(params=SHIPPED)
def rig(request):
    made = Rig(request.param)
    yield made
    made.close()


# What the comments of the files say: dB as they are; IEC-like travel, 0 dB at three quarters; even in dB.
UNITY = {"decibels": 0.0, "positions": 0.75, "strips": 0.0, "touch": 0.01 + 0.99 * 50 / 60}
MAIN = {
    "decibels": ("/master/level", "/master/level"),
    "positions": ("/master/level", "/master/level"),
    "strips": ("/master/level", "/master/level"),
    "touch": ("/programme/fader", "/programme/fader/now"),
}


def test_the_fader_is_sent_and_its_answer_is_heard(rig):
    """0 dB arrives as the number that the file promises, and said back it is 0 dB again."""
    name = rig.surface.name
    sent_to, answered_from = MAIN[name]
    rig.send(0.0, from_db=0.5)
    address, [value] = rig.hear()
    heard = rig.say(answered_from, value)

    assert (sent_to, pytest.approx(UNITY[name], abs=1e-6)) == (address, value)
    assert (heard.position_db, heard.stem) == (pytest.approx(0.0, abs=1e-4), "")


def test_a_hand_that_closes_the_fader_is_understood(rig):
    """The bottom of the travel, or -144 dB, is a closed fader."""
    bottom = -144.0 if rig.surface.scale == "db" else 0.0

    assert rig.say(MAIN[rig.surface.name][1], bottom).position_db == -math.inf


def test_the_fuse_holds_on_the_wire(rig):
    """Asked for 20 dB, what arrives is the highest that the file allows, +6 dB."""
    rig.send(20.0, from_db=5.9)
    _, [value] = rig.hear()
    level_db = value if rig.surface.scale == "db" else rig.surface.taper.gain_db(value)

    assert level_db == pytest.approx(6.0, abs=1e-4)


@pytest.mark.parametrize("stem", [1, 12])
@pytest.mark.parametrize("rig", ["decibels", "positions"], indirect=True)
def test_a_stem_is_heard_by_its_number(rig, stem):
    """Those that have addresses for stems; the touch layout is for one fader."""
    level = -10.0 if rig.surface.scale == "db" else 0.5

    heard = rig.say(f"/stem/{stem}/fader", level)
    assert (heard.stem, heard.position_db) == (str(stem), pytest.approx(-10.0, abs=1e-4))
