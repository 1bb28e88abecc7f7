"""An armed sidecar at the rehearsed workstation: real sockets both ways, the clock turned by hand."""

import contextlib
import math
import queue
import time

import pytest
from workstation_peer import PATIENCE_S, SteppedRehearsal, WorkstationPeer

from sidecar.advice.faders.arming import Arming
from sidecar.advice.faders.auto_follow import AutoFollow
from sidecar.model.readings import Move
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.settings.locations import shipped_configs
from sidecar.sources.rehearsal.workstation import SimulatedWorkstation
from sidecar.surfaces.link import SurfaceLink
from sidecar.surfaces.surface import load_surface

FOLDER = shipped_configs() / "surfaces"
TICK_S = 0.1
REPEAT_S = 0.5


class Rig:
    """The loop that a session runs: 100 ms of programme, what was heard of the fader, what is to be sent."""

    def __init__(self, surface):
        self.now_s = 0.0
        self.surface = surface
        self.rehearsal = SteppedRehearsal()
        self.arming = Arming(surface.limits)
        self.sent: list[float] = []
        self._heard: queue.SimpleQueue = queue.SimpleQueue()
        self._told_db = self._told_s = math.nan
        server = bind("127.0.0.1", 0)
        self.workstation = SimulatedWorkstation(
            surface, self.rehearsal, peer=server.getsockname(), times=20.0
        )
        target = resolve("{}:{}".format(*self.workstation.address))
        link = SurfaceLink(surface, target, clock=lambda: self.now_s)
        self.line = link.fader
        self._port = OscPort([], link=link)
        self._engine = EventLoop().__enter__()
        self._engine.run(self._port.open(server, lambda _command: None, report_fader=self._heard.put))
        self.workstation.start()
        self.workstation_is_there = True
        self._hear()

    def play(self, seconds, *, audio=True):
        """Goes on by that much programme, a tick each 100 ms."""
        for _ in range(round(seconds / TICK_S)):
            self.now_s += TICK_S
            self.rehearsal.play()
            if audio:
                self.arming.report_audio(self.now_s, is_silent=False)
            if self.workstation_is_there:
                self._hear()
            self._send()

    def _send(self):
        target_db = self.arming.target_db(self.now_s)
        if not self.arming.armed:
            return
        position_db = self.line.advance(target_db, may_rise=self.arming.may_rise)
        if position_db is None:
            return
        self.arming.record_sent(self.now_s, position_db)
        self.sent.append(position_db)
        if self.workstation_is_there:
            self.rehearsal.told.get(timeout=PATIENCE_S)

    def _hear(self):
        """Takes what the workstation has said, up to the report of the fader's present position."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            with contextlib.suppress(queue.Empty):
                while True:
                    self._take(self._heard.get_nowait())
            is_fresh = self.now_s - self._told_s <= REPEAT_S
            if is_fresh and abs(self._told_db - self.rehearsal.fader_db) < 1e-3:
                return
            with contextlib.suppress(queue.Empty):
                self._take(self._heard.get(timeout=0.1))
        raise AssertionError(f"the workstation never told of {self.rehearsal.fader_db} dB")

    def arm(self):
        """Asks for leave, and waits for the workstation's next report."""
        assert self.line.open() == ""
        self.arming.arm(self.now_s)
        end = time.monotonic() + PATIENCE_S
        while not self.arming.armed and time.monotonic() < end:
            with contextlib.suppress(queue.Empty):
                self._take(self._heard.get(timeout=0.1))
        assert self.arming.armed

    def _take(self, feedback):
        self._told_db, self._told_s = feedback.position_db, self.now_s
        self.arming.report_fader(self.now_s, feedback.position_db, feedback.received_s)

    def close_workstation(self):
        self.workstation.close()
        self.workstation_is_there = False

    def close(self):
        self.workstation.close()
        self._engine.run(self._port.close())
        self._engine.__exit__()


@pytest.fixture
def rig(request):
    name = getattr(request, "param", "positions")
    made = Rig(load_surface(FOLDER / f"{name}.toml"))
    yield made
    made.close()


@pytest.fixture
def armed(rig):
    rig.play(0.2)
    rig.arm()
    return rig


@pytest.mark.parametrize("rig", ["decibels", "positions", "touch"], indirect=True)
def test_an_armed_move_arrives(armed):
    """-3 dB is asked for; the workstation's fader goes there and says so, and the leave stays."""
    assert armed.arming.ask(armed.now_s, -3.0).granted
    armed.play(2.0)

    assert armed.rehearsal.fader_db == pytest.approx(-3.0, abs=1e-4)
    assert armed.arming.armed


@pytest.mark.slow
def test_a_long_way_down_arrives_though_the_fader_is_slower_than_the_ramp(armed):
    """The rehearsed fader travels 5 dB a second and the ramp falls 10: it is still taken for obedient."""
    armed.arming.ask(armed.now_s, -20.0)
    armed.play(5.0)

    assert armed.rehearsal.fader_db == pytest.approx(-20.0, abs=1e-4)
    assert armed.arming.armed


def test_unarmed_nothing_is_sent(rig):
    """The fader is asked for and neither a datagram leaves nor the fader moves."""
    rig.play(0.2)
    verdict = rig.arming.ask(rig.now_s, -3.0)
    rig.play(2.0)

    assert (verdict.granted, rig.sent, rig.rehearsal.fader_db) == (False, [], 0.0)
    assert rig.rehearsal.told.empty()


@pytest.fixture
def hand(rig):
    """Another surface that moves the same fader."""
    made = WorkstationPeer(rig.surface, rig.workstation)

    def push(level_db):
        made.send(level_db)
        rig.rehearsal.told.get(timeout=PATIENCE_S)

    yield push
    made.close()


@pytest.mark.slow
def test_a_hand_on_a_fader_at_rest_takes_it_back(armed, hand):
    """Another surface opens the fader further: the sidecar lets go and leaves it where the hand puts it."""
    armed.arming.ask(armed.now_s, -3.0)
    armed.play(2.0)
    sent = list(armed.sent)
    hand(2.0)
    armed.play(2.0)

    assert not armed.arming.ask(armed.now_s, -3.0).granted
    assert "hand or its automation" in armed.arming.notice
    assert (sent, pytest.approx(2.0, abs=1e-4)) == (armed.sent, armed.rehearsal.fader_db)


@pytest.mark.slow
def test_a_hand_that_holds_against_a_rise_takes_the_fader_back(armed, hand):
    """In mid-rise a hand pulls down and keeps at it: the rise ends and the fader stays where the hand is."""
    armed.arming.ask(armed.now_s, 3.0)
    armed.play(0.5)
    for _ in range(20):
        hand(-9.0)
        armed.play(TICK_S)
    armed.play(2.0)

    assert not armed.arming.armed
    assert "hand or its automation" in armed.arming.notice
    assert armed.rehearsal.fader_db == pytest.approx(-9.0, abs=1e-4)
    assert max(armed.sent) < 1.5


def test_a_workstation_that_has_gone_is_noticed(armed):
    """Its port is closed in mid-rise: within a second and a little the sidecar lets go."""
    armed.arming.ask(armed.now_s, 3.0)
    armed.play(0.5)
    armed.close_workstation()
    armed.play(3.0)

    assert not armed.arming.armed
    assert "no longer arrives" in armed.arming.notice
    assert max(armed.sent) < 2.2


@pytest.mark.slow
def test_lost_audio_is_noticed(armed):
    """In mid-rise audio stops arriving: nothing is sent after the time-out, and the fader stays."""
    armed.arming.ask(armed.now_s, 3.0)
    armed.play(0.5)
    armed.play(3.0, audio=False)

    assert (armed.arming.armed, armed.arming.notice) == (False, "Disarmed: no audio arrives.")
    assert max(armed.sent) < 1.8
    assert armed.rehearsal.fader_db == pytest.approx(armed.sent[-1], abs=1e-4)


@pytest.mark.slow
def test_however_much_is_asked_the_fader_rises_slowly_and_not_far(armed):
    """20 dB more, asked for ten times a second: 3 dB, a rest, 3 dB, and no more."""
    history = []
    for _ in range(200):
        armed.arming.ask(armed.now_s, 20.0)
        armed.play(TICK_S)
        history.append(armed.rehearsal.fader_db)

    seconds = [later - now for now, later in zip(history, history[10:], strict=False)]
    assert max(seconds) < 1.0 + TICK_S + 1e-3  # 1 dB/s, in steps
    assert max(history[:50]) < 3.01
    assert pytest.approx(6.0, abs=1e-4) == max(history) == history[-1]


@pytest.mark.slow
def test_advice_is_obeyed_half_a_minute_after_arming(armed):
    """Nobody asks, and after 30 s of programme the fader goes where the advice wants it, once."""
    follower = AutoFollow()
    follower.target_db(armed.now_s, Move(), 0.0, is_armed=False)
    history = []
    for _ in range(350):
        move = Move(gain_db=-4.0 - armed.rehearsal.fader_db)
        target_db = follower.target_db(
            armed.now_s, move, armed.rehearsal.fader_db, is_armed=armed.arming.armed
        )
        if target_db is not None:
            armed.arming.ask(armed.now_s, target_db)
        armed.play(TICK_S)
        history.append(armed.rehearsal.fader_db)

    assert min(history[:299]) == 0.0
    assert history[-1] == pytest.approx(-4.0, abs=1e-4)
