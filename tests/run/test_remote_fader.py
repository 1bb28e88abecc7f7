"""A workstation's fader as a run moves it: the time is turned by hand, what would be sent is kept."""

import itertools
import math

import pytest

from sidecar.model.readings import Move
from sidecar.run.remote_fader import RemoteFader
from sidecar.settings.locations import shipped_configs
from sidecar.surfaces.surface import load_surface

SURFACE = load_surface(shipped_configs() / "surfaces" / "decibels.toml")
TICK_S = 0.01


class Bench:
    """Audio, a fader that obeys at once, and a clock."""

    def __init__(self, *, at_once=False):
        self.now_s = 100.0
        self.sent: list[tuple[float, float]] = []
        self.remote = RemoteFader(SURFACE, self._move, at_once=at_once)

    def _move(self, position_db):
        self.sent.append((self.now_s, position_db))
        self.remote.stands_at(self.now_s, position_db)

    def play(self, seconds, move=None):
        for _ in range(round(seconds / TICK_S)):
            self.now_s += TICK_S
            self.remote.audio(self.now_s)
            self.remote.step(self.now_s)
            self.remote.look(self.now_s, self.now_s - 100.0, move or Move())

    @property
    def hand(self):
        return self.remote.hand


def test_it_moves_only_once_armed():
    """Following an unarmed fader says so and sends nothing."""
    bench = Bench()
    bench.remote.stands_at(bench.now_s, 0.0)
    bench.play(0.5)
    bench.remote.change_by(bench.now_s, -2.0)
    bench.play(2.0)
    assert ([], False) == (bench.sent, bench.hand.is_armed)
    assert "arm it first" in bench.hand.sentence

    bench.remote.arm(bench.now_s)
    assert "hurt ears and loudspeakers" in bench.hand.sentence
    bench.remote.change_by(bench.now_s, -2.0)
    bench.play(2.0)
    assert pytest.approx(-2.0) == bench.sent[-1][1]


def test_no_more_than_twenty_positions_a_second_leave():
    """A surface that answers each one is not flooded, however small the audio blocks are."""
    bench = Bench(at_once=True)
    bench.remote.stands_at(bench.now_s, 0.0)
    bench.play(0.1)
    bench.remote.change_by(bench.now_s, 3.0)
    bench.play(5.0)
    times = [at_s for at_s, _ in bench.sent]

    assert len(times) > 20
    assert min(b - a for a, b in itertools.pairwise(times)) >= 0.05 - 1e-9


def test_a_fader_that_never_reported_is_not_moved():
    """Where it would start from is not known."""
    bench = Bench(at_once=True)
    bench.play(1.0)
    bench.remote.change_by(bench.now_s, -2.0)
    bench.play(1.0, Move(gain_db=-2.0))

    assert ([], False) == (bench.sent, bench.hand.is_armed)
    assert "never said where it stands" in bench.hand.sentence


def test_once_armed_by_itself_a_hand_takes_it_for_good():
    """The leave that was given at the start is not given again behind the person's back."""
    bench = Bench(at_once=True)
    bench.remote.stands_at(bench.now_s, 0.0)
    bench.play(0.5)
    assert bench.hand.is_armed
    bench.remote.stands_at(bench.now_s, -12.0)
    bench.play(1.0)

    assert not bench.hand.is_armed


def test_the_advised_move_is_made_unasked_every_half_minute():
    """Tech 3343 §3.2: correct by little, then wait."""
    bench = Bench(at_once=True)
    bench.remote.stands_at(bench.now_s, 0.0)
    bench.play(29.0, Move(gain_db=-1.0))
    assert [] == bench.sent
    bench.play(3.0, Move(gain_db=-1.0))
    assert pytest.approx(-1.0) == bench.sent[-1][1]
    bench.play(30.0, Move(gain_db=-1.0))
    assert pytest.approx(-2.0) == bench.sent[-1][1]


def test_a_closed_fader_is_left_alone():
    """Minus infinity is no place to start from."""
    bench = Bench(at_once=True)
    bench.remote.stands_at(bench.now_s, -math.inf)
    bench.play(40.0, Move(gain_db=1.0))

    assert [] == bench.sent
