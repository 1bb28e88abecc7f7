"""The advice as shown holds still, stays inside its bound, and never contradicts itself."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.advice import LandingAdvisor
from sidecar.advice.programme.outlook import Outlook, bound
from sidecar.advice.programme.steady import REST_S, SteadyAdviser, stepped
from sidecar.loudness.limits import is_over, is_under
from sidecar.model.advice import Advice
from sidecar.model.readings import Limit, Move
from sidecar.settings.goals import Goal

GOAL = Goal("television", "Television", -23.0, 0.2, 0.2, -1.0, -18.0)
WORDS = 12


def energies(levels_lufs):
    return 10.0 ** ((np.repeat(levels_lufs, 10) + 0.691) / 10.0)


class Run:
    """A pass of one level a second, and the advice as shown after each."""

    def __init__(self, levels_lufs, *, length_s=None, peaks_dbtp=-10.0, stray_db=2.0):
        self.levels, self.peaks_dbtp, self.stray_db = levels_lufs, peaks_dbtp, stray_db
        self.advisor, self.steady = LandingAdvisor(GOAL, length_s), SteadyAdviser(GOAL)
        self.length_s, self.fader_db = length_s or math.inf, 0.0
        self.shown: list[Advice] = []

    def play(self, *, follow=False):
        for second, level in enumerate(self.levels, 1):
            block = energies([level + self.fader_db])
            self.advisor.push(block, self.fader_db, self.peaks_dbtp + self.fader_db)
            advice = self.steady.advice
            if second % 5 == 0 or self.steady.is_due(float(second), self.fader_db):
                outlook, rest_s = self.advisor.outlook(self.stray_db), self.length_s - second
                advice = self.steady.update(
                    float(second), self.fader_db, outlook, rest_s, self.advisor.look_again_s
                )
            self.shown.append(advice)
            if follow:
                self.fader_db = round(self.fader_db + advice.move.gain_db, 1)
        return self

    @property
    def changes(self):
        """Seconds at which another move was shown, and the moves."""
        keys = [(advice.state, advice.move.gain_db) for advice in self.shown]
        return [(n, key) for n, key in enumerate(keys) if n and key != keys[n - 1]]


def contradictions(advice):
    move, is_move = advice.move, advice.state == "move"
    passes = not (is_under(move.landing, GOAL.lowest_lufs) or is_over(move.landing, GOAL.highest_lufs))
    near = not (
        is_under(move.landing + 0.1, GOAL.lowest_lufs) or is_over(move.landing - 0.1, GOAL.highest_lufs)
    )
    excused = advice.more_to_come or advice.restart_fader_db is not None or move.limited_by == "ceiling"
    found = {
        "a gain without a move": is_move != (move.gain_db != 0.0),
        "on goal, and its landing fails": advice.state == "on_goal" and not near,
        "a move that fails, without a word": is_move and not passes and not excused,
        "a first step that passes": advice.more_to_come and passes,
        "a start again, and it passes": advice.restart_fader_db is not None and passes,
        "outside its own likely range": not move.landing_low - 1e-6
        <= move.landing
        <= move.landing_high + 1e-6,
        "too many words": len(move.reason.split()) > WORDS,
    }
    return [what for what, is_so in found.items() if is_so]


def course(draw, seconds):
    """Sections of one level each."""
    sections = draw(st.lists(st.floats(-34.0, -16.0), min_size=2, max_size=5))
    return np.repeat(sections, math.ceil(seconds / len(sections)))[:seconds]


@settings(max_examples=10, deadline=None)
@given(st.data(), st.booleans(), st.booleans(), st.sampled_from([-30.0, -8.0, -1.5]))
def test_no_advice_contradicts_itself(data, knows_length, follow, peaks_dbtp):
    seconds = data.draw(st.integers(30, 80))
    run = Run(
        course(data.draw, seconds), length_s=float(seconds) if knows_length else None, peaks_dbtp=peaks_dbtp
    ).play(follow=follow)

    for advice in run.shown:
        if advice.state != "listening":
            assert contradictions(advice) == []


@settings(max_examples=5, deadline=None)
@given(st.data())
def test_with_the_fader_left_alone_moves_follow_each_other_by_a_rest_at_least(data):
    seconds = data.draw(st.integers(60, 90))
    run = Run(course(data.draw, seconds), length_s=float(seconds)).play()

    moves = [(second, gain_db) for second, (_, gain_db) in run.changes]
    gains = [move for before, move in pairwise([(0, 0.0), *moves]) if move[1] != before[1]]
    assert all(later - before >= REST_S for (before, _), (later, _) in pairwise(gains))


def test_a_fall_that_peaks_ask_for_at_once_is_not_asked_for_again_by_the_same_peak():
    steady = SteadyAdviser(GOAL)

    def shown(second, gain_db, peak_dbtp, limited_by: Limit | None = "ceiling"):
        def at(change_db):
            return Move(change_db, -22.5 + change_db, -24.0 + change_db, -20.0 + change_db)

        move = replace(at(gain_db), limited_by=limited_by)
        outlook = Outlook(move, move, at, 0.1, True, headroom_db=-1.0 - peak_dbtp)
        return steady.update(second, 0.0, outlook, 500.0, 30.0).move.gain_db

    assert shown(40.0, 0.0, -3.0, None) == 0.0
    assert shown(41.0, -0.8, -0.2) == -0.8, "a first peak over the ceiling asks at once"
    assert shown(46.0, -1.4, -0.2) == -0.8, "the same peak waits for the next look"
    assert shown(47.0, -1.4, 0.1) == -0.8, "as does one that is hardly higher"
    assert shown(48.0, -1.4, 0.6) == -1.4
    assert shown(63.0, 0.0, 0.6, None) == -1.4, "what it asked for is kept up for a rest"


def test_a_move_that_was_made_is_not_asked_for_again():
    run = Run(np.full(60, -20.0), length_s=240.0).play(follow=True)

    moves = [(n, advice.move.gain_db) for n, advice in enumerate(run.shown) if advice.state == "move"]
    assert len(moves) <= 2
    assert sum(gain_db for _, gain_db in moves) == pytest.approx(-3.0, abs=0.6)
    assert all(later - before >= REST_S for (before, _), (later, _) in pairwise(moves))


def test_a_fader_on_its_way_is_shown_what_is_left():
    run = Run(np.full(20, -20.0), length_s=240.0).play()
    before_db = run.shown[-1].move.gain_db
    run.fader_db = -1.0
    run.advisor.push(energies([-21.0]), -1.0, -10.0)
    advice = run.steady.update(21.0, -1.0, run.advisor.outlook(), 219.0, 30.0)

    assert advice.state == "move"
    assert advice.move.gain_db == pytest.approx(before_db + 1.0, abs=0.05)


def test_past_the_bound_the_advice_names_the_landing_and_where_to_start_again():
    """The first four fifths were 6 dB too loud: within 2 dB nothing repairs that any more."""
    run = Run(np.full(96, -17.0), length_s=120.0).play()

    last = run.shown[-1]
    assert last.restart_fader_db == pytest.approx(-6.0, abs=0.3)
    assert "start again" in last.move.reason


def test_once_a_new_start_was_offered_it_stays_offered_until_the_pass_heads_for_the_goal():
    steady, from_top = SteadyAdviser(GOAL), Move(-4.0, -23.0, -23.2, -22.8)

    def shown(second, landing, *, is_out_of_reach):
        def at(change_db):
            return Move(change_db, landing + change_db, landing - 2.0, landing + 2.0)

        outlook = Outlook(at(-1.0), from_top, at, 0.1, True, is_out_of_reach=is_out_of_reach)
        advice = steady.update(second, 0.0, outlook, 300.0, 30.0)
        return advice.restart_fader_db, advice.more_to_come

    assert shown(40.0, -20.5, is_out_of_reach=False) == (None, True)
    assert shown(60.0, -20.0, is_out_of_reach=True) == (-4.0, False)
    assert shown(90.0, -20.6, is_out_of_reach=False) == (-4.0, False)
    assert shown(120.0, -22.0, is_out_of_reach=False) == (None, False)


def test_a_landing_in_great_doubt_is_not_called_on_goal_until_it_is_known_better():
    steady = SteadyAdviser(GOAL)

    def state(second, doubt_db):
        def at(change_db):
            return Move(change_db, -23.0 + change_db, -30.0, -18.0)

        return steady.update(second, 0.0, Outlook(at(0.0), at(0.0), at, doubt_db, True), 300.0, 30.0).state

    assert state(17.0, 2.3) == "hold"
    assert state(27.0, 1.2) == "on_goal"
    assert state(45.0, 1.8) == "on_goal"


def test_advice_to_leave_the_fader_speaks_of_the_landing():
    """What was played so far was too soft; what is to come makes up for it."""
    levels = np.concatenate([np.full(30, -29.0), np.full(60, -22.0)])
    run = Run(levels, length_s=120.0).play()

    still = [advice for advice in run.shown if advice.state in ("hold", "on_goal")]
    named = [f"{advice.move.landing:.1f}".replace("-", "−") in advice.move.reason for advice in still]
    assert still and all(named)


def test_the_bound_allows_no_stray_at_all_where_none_is_wanted():
    gains_db = np.linspace(-3.1, -2.9, 41)

    never, two = bound(gains_db, 0.05)[0], bound(gains_db, 2.0)[0]

    assert never.held(-9.0) == pytest.approx(-3.0, abs=0.1)
    assert two.held(-9.0) == pytest.approx(-5.0, abs=0.1)


def test_large_moves_are_asked_for_in_half_decibels_and_late_ones_in_tenths():
    assert [stepped(gain_db, is_late=False) for gain_db in (-3.3, 2.8, 1.94, -0.26)] == [-3.5, 3.0, 1.9, -0.3]
    assert stepped(-3.3, is_late=True) == -3.3


def test_a_pass_that_came_on_goal_is_not_off_it_again_within_the_rest():
    steady = SteadyAdviser(GOAL)

    def shown(second, landing):
        def at(change_db):
            return Move(change_db, landing + change_db, landing - 2.0, landing + 2.0)

        return steady.update(second, 0.0, Outlook(at(0.0), at(0.0), at, 1.0, True), 600.0, 30.0)

    assert shown(11.0, -22.5).state == "hold"
    assert shown(27.0, -22.9).state == "on_goal"
    states = [shown(second, -23.5).state for second in range(28, 60)]
    assert states.index("hold") >= REST_S
