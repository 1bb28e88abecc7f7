"""What a surface shows, on a real UDP socket that plays the panel."""

from __future__ import annotations

import asyncio
import socket
from dataclasses import replace

import pytest

from sidecar.model.advice import Advice
from sidecar.model.readings import SILENCE, Alert, Move, Reading
from sidecar.model.snapshot import Snapshot, Stem
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve
from sidecar.settings.goals import load_goal
from sidecar.settings.locations import shipped_configs
from sidecar.surfaces.feedback import SurfaceFeedback
from sidecar.surfaces.surface import load_surface

TOUCH = load_surface(shipped_configs() / "surfaces" / "touch.toml")


class Panel:
    """A UDP socket that plays a touch layout, and a clock that the test turns."""

    def __init__(self, show=TOUCH.show):
        self.now_s = 0.0
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.settimeout(60.0)
        self.destination = resolve(f"127.0.0.1:{self.socket.getsockname()[1]}")
        self.display = SurfaceFeedback(replace(TOUCH, show=show), self.destination, clock=lambda: self.now_s)
        self._heard = 0

    def hear(self):
        """Everything that has been sent since the call before; each message came in its own datagram."""
        sent = self.destination.sent - self._heard
        self._heard = self.destination.sent
        return [message for _ in range(sent) for message in codec.parse(self.socket.recv(65_535))]

    def shown(self, snapshot, after_s=0.1):
        self.now_s += after_s
        self.display.offer(snapshot)
        return self.hear()

    def close(self):
        asyncio.run(self.display.close())
        return self.hear()


@pytest.fixture
def panel(monkeypatch):
    """In virtual time."""
    made = Panel()

    async def sleep(seconds):
        made.now_s += seconds

    monkeypatch.setattr(asyncio, "sleep", sleep)
    yield made
    made.socket.close()


DOWN = Move(-1.5, -23.0)


def snapshot(integrated=-21.5, move=DOWN, **states):
    alerts = tuple(Alert(name, state, -19.0, -20.0) for name, state in states.items())
    reading = Reading(integrated=integrated, seconds=60.0)
    return Snapshot("measuring", load_goal("r128"), reading, advice=Advice("move", move), alerts=alerts)


def test_the_shipped_panel_is_shown_move_landing_loudness_and_alerts(panel):
    """Each at the layout's own address, one value in a message of its own; of an alert its state."""
    heard = panel.shown(snapshot(hot="on"))
    panel.close()

    assert dict(heard) == {
        "/programme/move": [-1.5],
        "/programme/landing": [-23.0],
        "/programme/loudness": [-21.5],
        "/programme/over": [0],
        "/programme/hot": [1],
        "/programme/ceiling": [0],
        "/programme/heartbeat": [0],
    }
    assert len(heard) == 7


def test_only_what_changes_is_sent_until_a_second_is_over(panel):
    """A new move goes out alone and at once; after a second all is sent again, whatever was lost."""
    panel.shown(snapshot())
    same = panel.shown(snapshot())
    moved = panel.shown(snapshot(move=Move(-2.0, -23.0)))
    again = panel.shown(snapshot(move=Move(-2.0, -23.0)), after_s=1.0)
    panel.close()

    assert same == []
    assert moved == [("/programme/move", [-2.0])]
    assert len(again) == 7


def test_silence_is_a_number_on_the_panel(panel):
    """No infinity reaches a label."""
    heard = dict(panel.shown(snapshot(integrated=SILENCE, move=Move())))
    panel.close()

    assert (heard["/programme/loudness"], heard["/programme/landing"]) == ([-120.0], [-120.0])


def test_at_the_end_no_alert_stays_lit(panel):
    """After the run the panel does not show that it is too loud now."""
    panel.shown(snapshot(hot="on", ceiling="latched"))

    assert panel.close() == [("/programme/ceiling", [0]), ("/programme/over", [0]), ("/programme/hot", [0])]


def test_alerts_that_flicker_do_not_flash_on_the_panel(panel):
    """Two alerts that take turns ten times a second change their lamps 3 times in a second.

    Sources: WCAG 2.x success criterion 2.3.1 and ITU-R BT.1702; here each change counts, not each pair.
    """
    panel.shown(snapshot())
    changes = 0
    lamps = {"/programme/over": [0], "/programme/hot": [0]}
    for turn in range(100):
        states = {"over": "on"} if turn % 2 else {"hot": "on"}
        before = dict(lamps)
        lamps |= {address: value for address, value in panel.shown(snapshot(**states)) if address in lamps}
        changes += lamps != before
    panel.close()

    assert 25 <= changes <= 30  # in ten seconds


def test_readings_that_move_change_no_lamp_more_often_than_three_times_a_second(panel):
    """A lamp may show a reading too. Ten a second arrive, with an alert now and then.

    Sources: WCAG 2.x success criterion 2.3.1 and ITU-R BT.1702; here each change counts, not each pair.
    """
    changes_s, alerts_s, state = [], [], "off"
    lamps = {}
    for turn in range(200):
        wanted = "on" if turn % 40 >= 20 else "off"
        if wanted != state:
            alerts_s.append(panel.now_s + 0.1)
            state = wanted
        before = dict(lamps)
        lamps |= dict(panel.shown(snapshot(integrated=-30.0 + 0.01 * turn, hot=state)))
        if lamps != before:
            changes_s.append(panel.now_s)
        if lamps["/programme/hot"] != before.get("/programme/hot", [0]):
            assert (
                panel.now_s - alerts_s[-1] <= 0.51
            )  # at once, or after the oldest change has left its second
    panel.close()
    in_a_second = max(sum(start <= at <= start + 1.0 for at in changes_s) for start in changes_s)

    assert in_a_second <= 3
    assert 38 <= len(changes_s) <= 60  # twice a second in twenty seconds, and the alerts
    assert len(alerts_s) == 9


def test_the_end_is_no_flash_too_many(panel):
    """After three changes in a second the lamps go out when that second is over, not before."""
    panel.shown(snapshot(hot="on"))
    first_change_s = panel.now_s
    panel.shown(snapshot())
    panel.shown(snapshot(hot="on"))

    assert ("/programme/hot", [0]) in panel.close()
    assert 1.0 < panel.now_s - first_change_s < 1.2


def test_a_value_that_is_not_there_is_not_sent():
    """Without stems and without a connected fader there is nothing to say of them."""
    panel = Panel(
        {"/stems/moves": "/a/{stem}", "/auto/armed": "/b", "/peak/channels": "/c", "/transport": "/d"}
    )
    heard = panel.shown(snapshot())
    panel.close()
    panel.socket.close()

    assert heard == [("/d", ["measuring"])]


def test_each_stem_has_its_own_label():
    """The first stem's move at number 1, in the order of the names; only what changes is sent again."""
    panel = Panel({"/stems/names": "/{stem}/name", "/stems/moves": "/{stem}/move"})
    stems = (Stem("voice", 0.0, Move(0.0), -3.0), Stem("music", 0.0, Move(-2.5), -6.0))
    first = panel.shown(replace(snapshot(), stems=stems))
    second = panel.shown(replace(snapshot(), stems=(stems[0], replace(stems[1], move=Move(-3.0)))))
    panel.close()
    panel.socket.close()

    assert dict(first) == {"/1/name": ["voice"], "/2/name": ["music"], "/1/move": [0.0], "/2/move": [-2.5]}
    assert second == [("/2/move", [-3.0])]


def test_a_gain_without_a_name_beside_it_is_never_one_stems():
    """Two labels show gain and landing, and a third the fader's name: a stem's gain needs the third."""
    stems = (Stem("voice", 0.0, Move(-3.0, -23.0), -3.0), Stem("music", 0.0, Move(), -6.0))
    together = tuple(replace(stem, move=Move(-7.4, -23.0)) for stem in stems)
    shown = {"/move/gain": "/gain"}, {"/move/gain": "/gain", "/move/fader": "/name"}
    heard = []
    for show in shown:
        panel = Panel(show)
        heard += [dict(panel.shown(replace(snapshot(), stems=one))) for one in (stems, together)]
        panel.close()
        panel.socket.close()

    assert [one["/gain"] for one in heard] == [[0.0], [pytest.approx(-7.4)], [-3.0], [pytest.approx(-7.4)]]
    assert [one.get("/name") for one in heard] == [None, None, ["voice"], ["all stems"]]
