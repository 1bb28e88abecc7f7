"""The lamps of a run on real UDP sockets."""

from __future__ import annotations

import socket
import time
from dataclasses import replace

import pytest

from sidecar.errors import NetworkError, SettingsError
from sidecar.lights import sender as lamp_module
from sidecar.lights.sender import Lamps, lamp_at
from sidecar.model.readings import Alert, Reading
from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal

PATIENCE_S = 60.0
SAFE = ("/lamp", [0])


class Bulb:
    """A UDP socket that plays a lamp."""

    def __init__(self):
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.settimeout(PATIENCE_S)
        self.place = f"127.0.0.1:{self.socket.getsockname()[1]}"

    def hear(self):
        [message] = codec.parse(self.socket.recv(65_535))
        return message

    def hear_until(self, expected):
        """Everything up to and with that message."""
        end = time.monotonic() + PATIENCE_S
        heard = []
        while time.monotonic() < end:
            heard.append(self.hear())
            if heard[-1] == expected:
                return heard
        raise AssertionError(f"{expected} never came, only {heard}")

    def rest(self):
        """Everything that has arrived."""
        self.socket.setblocking(False)
        heard = []
        try:
            while True:
                heard.append(self.hear())
        except BlockingIOError:
            return heard

    def close(self):
        self.socket.close()


@pytest.fixture
def bulb():
    made = Bulb()
    yield made
    made.close()


@pytest.fixture
def engine():
    with EventLoop() as made:
        yield made


def snapshot(*alerts, transport="measuring", integrated=-23.0):
    return Snapshot(
        transport=transport,
        goal=load_goal("r128"),
        reading=Reading(integrated=integrated, seconds=60.0),
        alerts=tuple(Alert(name, "on") for name in alerts),
    )


def start(engine, *places):
    lamps = Lamps([lamp_at(place) for place in places])
    engine.run(lamps.open())
    return lamps


@pytest.mark.slow
def test_an_alert_lights_the_lamp_and_the_end_makes_it_dark(engine, bulb):
    """On when it runs hot; on closing the safe state comes three times and nothing after it."""
    lamps = start(engine, f"lamp={bulb.place}")
    engine.soon(lamps.offer, snapshot())
    before = bulb.hear()
    engine.soon(lamps.offer, snapshot("hot"))
    bulb.hear_until(("/lamp", [1]))
    engine.run(lamps.close())

    assert before == SAFE
    assert bulb.rest() == [SAFE] * 3


@pytest.mark.slow
def test_a_state_that_stays_is_said_again_and_again(engine, bulb):
    """The lamp receives the state once a second, and so detects that the sidecar is there."""
    lamps = start(engine, f"lamp={bulb.place}")
    engine.soon(lamps.offer, snapshot("hot"))
    bulb.hear_until(("/lamp", [1]))
    again = bulb.hear()
    engine.run(lamps.close())

    assert again == ("/lamp", [1])


@pytest.mark.slow
def test_a_pulse_goes_on_between_snapshots(engine, bulb):
    """One snapshot, and the ceiling's pulse goes on and off by itself."""
    lamps = start(engine, f"lamp={bulb.place}")
    engine.soon(lamps.offer, snapshot("ceiling"))
    bulb.hear_until(("/lamp", [1]))
    pulse = [bulb.hear(), bulb.hear(), bulb.hear()]
    engine.run(lamps.close())

    assert pulse == [("/lamp", [0]), ("/lamp", [1]), ("/lamp", [0])]


@pytest.mark.slow
def test_every_lamp_hears_its_own_message(engine, bulb):
    """Two lights at one place, each with its own address and its own types."""
    lamps = start(engine, f"colours={bulb.place}", f"dimmer={bulb.place}")
    engine.soon(lamps.offer, snapshot("over"))
    heard = bulb.hear_until(("/lamp/level", [pytest.approx(0.6)]))
    engine.run(lamps.close())

    assert ("/lamp/colour", [255, 120, 0]) in heard
    assert [each.name for each in lamps.status()] == [f"colours={bulb.place}", f"dimmer={bulb.place}"]
    assert all(each.sent >= 4 and not each.failed for each in lamps.status())


@pytest.mark.slow
def test_a_run_that_hangs_leaves_no_lamp_lit(engine, bulb, monkeypatch):
    """After some seconds without a snapshot the lamp shows what it shows without audio."""
    monkeypatch.setattr(lamp_module, "STALE_S", 0.3)
    lamps = start(engine, f"lamp={bulb.place}")
    engine.soon(lamps.offer, snapshot("hot"))
    bulb.hear_until(("/lamp", [1]))
    heard = bulb.hear_until(SAFE)
    engine.run(lamps.close())

    assert heard.count(("/lamp", [1])) <= 1


@pytest.mark.slow
@pytest.mark.parametrize(("transport", "expected"), [("preparing", 1), ("ended", 0)])
def test_where_no_snapshots_are_due_none_is_missed(engine, bulb, monkeypatch, transport, expected):
    """The first start compiles for some ten seconds, and a screen may stay open after the end: neither is
    taken for lost audio."""
    monkeypatch.setattr(lamp_module, "STALE_S", 0.0)
    lamp = lamp_at(f"lamp={bulb.place}")
    shows = (
        replace(lamp.light.shows[1], when=("waiting",), min_on_s=0.0),
        replace(lamp.light.shows[0], when=("lost",)),
    )
    lamps = Lamps([replace(lamp, light=replace(lamp.light, shows=shows))])
    engine.run(lamps.open())
    engine.soon(lamps.offer, snapshot(transport=transport))
    heard = [bulb.hear_until(("/lamp", [expected]))[-1], bulb.hear()]
    engine.run(lamps.close())

    assert heard == [("/lamp", [expected])] * 2


@pytest.mark.slow
def test_a_lamp_that_cannot_be_reached_is_counted_and_holds_up_nobody(engine, bulb):
    """The first port refuses every datagram; the other lamp still receives."""
    lamps = start(engine, "lamp=255.255.255.255:9", f"lamp={bulb.place}")
    engine.soon(lamps.offer, snapshot("hot"))
    bulb.hear_until(("/lamp", [1]))
    engine.run(lamps.close())
    blocked, fine = lamps.status()

    assert blocked.failed > 0
    assert blocked.fault != ""
    assert (fine.failed, fine.fault) == (0, "")


def test_without_lamps_there_is_nothing_to_open_or_close(engine):
    """A run without lights sends nothing and ends at once."""
    lamps = start(engine)
    engine.run(lamps.close())

    assert lamps.status() == ()


@pytest.mark.parametrize("text", ["lamp", "127.0.0.1:9000", "=127.0.0.1:9000", ""])
def test_a_lamp_without_name_or_place_is_refused(text):
    """The sentence shows the form, and the command that lists the names."""
    with pytest.raises(SettingsError, match=r"give NAME=HOST:PORT.*sidecar light-test"):
        lamp_at(text)


def test_a_light_that_there_is_not_is_answered_with_those_there_are():
    """The nearest name, and the list."""
    with pytest.raises(SettingsError, match=r"There is no light 'lamb'\. Did you mean lamp\?"):
        lamp_at("lamb=127.0.0.1:9000")


def test_a_place_that_is_none_is_refused():
    """As for every other OSC target."""
    with pytest.raises(NetworkError, match=r"'light\.local' is no OSC target"):
        lamp_at("lamp=light.local")
