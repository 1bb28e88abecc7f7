"""A workstation's fader as a run moves it: the time is turned by hand, what would be sent is kept."""

import itertools
import math

import pytest

from sidecar.model.readings import Move
from sidecar.run.remote_fader import RemoteFader
from sidecar.settings.locations import shipped_configs
from sidecar.surfaces.fader_line import FaderLine
from sidecar.surfaces.surface import load_surface

SURFACE = load_surface(shipped_configs() / "surfaces" / "decibels.toml")
TICK_S = 0.01
REPEAT_S = 0.5


class Bench:
    """Audio, a fader that moves at once and repeats its position, and a clock."""

    def __init__(self, *, at_once=False, fader_db=0.0):
        self.now_s = 100.0
        self.fader_db = fader_db
        self.sent: list[tuple[float, float]] = []
        self.queries = 0
        self.line = FaderLine(self._move, query=self._note_query, clock=lambda: self.now_s)
        self.remote = RemoteFader(SURFACE, self.line, at_once=at_once)
        self._due_s = self.now_s

    def _move(self, position_db):
        self.sent.append((self.now_s, position_db))
        self.fader_db = position_db
        self._due_s = self.now_s

    def _note_query(self):
        self.queries += 1

    def report(self, position_db):
        self.fader_db = position_db
        self.remote.report_fader(position_db, self.line.confirm(position_db))

    def play(self, seconds, move=None, *, reports=True):
        for _ in range(round(seconds / TICK_S)):
            self.now_s += TICK_S
            if reports and self.now_s >= self._due_s:
                self.report(self.fader_db)
                self._due_s = self.now_s + REPEAT_S
            self.remote.report_audio(is_silent=False)
            self.remote.step()
            self.remote.look(self.now_s - 100.0, move or Move())

    @property
    def arm(self):
        return self.remote.arm_state


def armed():
    bench = Bench(at_once=True)
    bench.play(1.0)
    assert bench.arm.is_armed
    return bench


def test_it_moves_only_once_armed():
    """Following an unarmed fader says so and sends nothing."""
    bench = Bench()
    bench.play(0.5)
    bench.remote.change_by(-2.0, is_advised=True)
    bench.play(2.0)
    assert (bench.sent, bench.arm.is_armed) == ([], False)
    assert "Arm it first" in bench.arm.sentence

    bench.remote.arm()
    assert "hurt ears and loudspeakers" in bench.arm.sentence
    assert not bench.arm.is_armed
    bench.play(0.6)
    assert bench.arm.is_armed
    assert "hurt ears and loudspeakers" in bench.arm.sentence
    bench.remote.change_by(-2.0, is_advised=True)
    bench.play(2.0)
    assert bench.sent[-1][1] == pytest.approx(-2.0)


def test_no_more_than_twenty_positions_a_second_leave():
    """A surface that answers each one is not flooded, however small the audio blocks are."""
    bench = armed()
    bench.remote.change_by(3.0, is_advised=False)
    bench.play(5.0)
    times = [at_s for at_s, _ in bench.sent]

    assert len(times) > 20
    assert min(b - a for a, b in itertools.pairwise(times)) >= 0.05 - 1e-9


def test_a_fader_that_never_reported_is_not_moved():
    """Where it would start from is not known."""
    bench = Bench(at_once=True)
    bench.play(1.0, reports=False)
    bench.remote.change_by(-2.0, is_advised=False)
    bench.play(1.0, Move(gain_db=-2.0), reports=False)

    assert (bench.sent, bench.arm.is_armed) == ([], False)
    assert "Turn on OSC feedback" in bench.arm.sentence


def test_a_move_while_the_workstation_is_silent_is_refused_in_words():
    bench = armed()
    bench.play(3.0, reports=False)
    bench.remote.change_by(-2.0, is_advised=False)
    bench.play(1.0, reports=False)

    assert bench.sent == []
    assert "no fader position for" in bench.arm.sentence


def test_once_armed_by_itself_a_hand_takes_it_for_good():
    """The leave that was given at the start is not given again behind the person's back."""
    bench = armed()
    bench.report(-12.0)
    bench.play(1.0)

    assert not bench.arm.is_armed


def test_the_advised_move_is_made_unasked_every_half_minute():
    """Tech 3343 §3.2: correct by little, then wait."""
    bench = Bench(at_once=True)
    bench.play(29.0, Move(gain_db=-1.0))
    assert bench.sent == []
    bench.play(3.0, Move(gain_db=-1.0))
    assert bench.sent[-1][1] == pytest.approx(-1.0)
    bench.play(30.0, Move(gain_db=-1.0))
    assert bench.sent[-1][1] == pytest.approx(-2.0)


def test_an_advised_rise_ends_with_the_advice():
    """Asked for with 3 dB to go; a second later the advice has changed its mind."""
    bench = armed()
    bench.remote.change_by(3.0, is_advised=True)
    bench.play(1.0, Move(gain_db=2.0))
    bench.play(3.0, Move())

    assert 0.9 < bench.sent[-1][1] < 1.2
    assert "the advised level is reached" in bench.arm.sentence


def test_a_rise_by_hand_is_not_the_advice_s():
    bench = armed()
    bench.remote.change_by(2.0, is_advised=False)
    bench.play(4.0, Move(gain_db=-3.0))

    assert bench.sent[-1][1] == pytest.approx(2.0)


def test_a_closed_fader_is_left_alone():
    """Minus infinity is no place to start from."""
    bench = Bench(at_once=True, fader_db=-math.inf)
    bench.play(40.0, Move(gain_db=1.0))

    assert bench.sent == []


def test_a_revocation_stops_what_is_on_its_way_before_the_run_knows_of_it():
    bench = armed()
    bench.remote.change_by(3.0, is_advised=False)
    bench.play(1.0)
    sent = len(bench.sent)
    bench.remote.revoke()
    bench.play(1.0)

    assert len(bench.sent) == sent


def test_an_arm_that_waits_before_a_disarm_does_not_undo_it():
    """Both wait for the run; the later one was meant."""
    bench = Bench()
    bench.remote.revoke()
    bench.remote.arm()
    assert "disarmed at the same moment" in bench.arm.sentence
    bench.remote.disarm()
    bench.play(1.0)
    assert not bench.arm.is_armed

    bench.remote.arm()
    bench.play(1.0)
    assert bench.arm.is_armed


def test_a_report_from_elsewhere_is_named_to_the_person_who_arms():
    bench = Bench()
    bench.remote.report_audio(is_silent=False)
    bench.line.stranger = "/master/level was heard from 127.0.0.1:4711, which does not count."
    bench.remote.arm()

    assert "127.0.0.1:4711" in bench.arm.sentence


def test_what_cannot_be_done_is_returned_as_a_reason():
    bench = Bench()
    no_audio = bench.remote.arm()
    unarmed = bench.remote.move_to(-3.0)
    bench.play(0.1)
    waits = bench.remote.arm()
    bench.play(1.0)
    closed = bench.remote.change_by(math.inf, is_advised=False)

    assert no_audio == "Not armed: no audio arrives. Start playback, then arm again."
    assert unarmed == no_audio
    assert waits == ""
    assert closed == "Refused: inf dB is no fader level. Give a number of dB."
    assert bench.remote.move_to(-3.0) == ""


def test_the_workstation_is_asked_once_a_second_from_the_request_to_arm_until_the_disarm():
    bench = Bench()
    bench.play(2.0)
    before = bench.queries
    bench.remote.arm()
    bench.play(4.0)
    armed_queries = bench.queries
    bench.remote.disarm()
    bench.play(3.0)

    assert before == 0
    assert armed_queries == 4
    assert bench.queries == armed_queries


def test_a_touch_disarms_at_once_but_not_before_it_is_armed():
    bench = Bench()
    bench.play(0.5)
    bench.remote.arm()
    bench.remote.report_touch()
    bench.play(0.6)
    is_armed = bench.arm.is_armed
    bench.remote.change_by(3.0, is_advised=False)
    bench.play(1.0)
    bench.remote.report_touch()
    sent = len(bench.sent)
    bench.play(2.0)

    assert is_armed
    assert sent > 0
    assert len(bench.sent) == sent
    assert (bench.arm.is_armed, bench.arm.sentence) == (False, "Disarmed: the fader was touched.")
