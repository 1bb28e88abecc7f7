"""What is said of the master fader, and what becomes of it."""

import pytest

from sidecar.journal.record import FaderReport
from sidecar.model.advice import Advice
from sidecar.model.commands import FaderAt, Follow, Nudge
from sidecar.model.readings import Move
from sidecar.run.advising import AdviceSchedule
from sidecar.run.master_fader import MasterFader
from sidecar.settings.goals import load_goal


class Mix:
    """A source that knows nothing of faders."""

    title, rate_hz, channels, duration_s = "mix", 48_000, 2, None

    def blocks(self):
        return iter(())

    def close(self):
        pass


def reported():
    """A fader, its advice, what was noted, and what was put on record."""
    advice = AdviceSchedule(load_goal("r128"), None, None)
    notes: list[str] = []
    told: list[FaderReport] = []
    return MasterFader(Mix(), advice, notes.append, told.append), advice, notes, told


def test_a_new_pass_begins_where_the_fader_stands():
    """A position that was reported goes on as one, steps go on as a step; either is on record."""
    for words in ([FaderAt(-4.0), Nudge(0.5)], [Nudge(-3.5)]):
        fader, advice, _, told = reported()
        for command in words:
            fader.carry_out(command, 1.0)
        fader.begin_anew("the pass of mix")

        assert advice.advisor.fader_db == -3.5
        assert FaderReport(0.0, -3.5, is_position=words[0] == FaderAt(-4.0)) == told[-1]


def test_a_new_pass_says_nothing_of_a_fader_nobody_told_of():
    """Only differences are known, and there is none."""
    fader, _, _, told = reported()
    fader.begin_anew("the pass of mix")

    assert told == []


def test_of_a_move_only_what_the_fader_has_not_gone_yet_is_left():
    """Never more than was advised, and never back."""
    _, advice, _, _ = reported()
    advice.update_advice(0.0, at_rest=False)
    left = {}
    for advised_db in (-3.0, 3.0, 0.0):
        advice.advice = Advice(move=Move(advised_db))
        for gone_db in (-4.0, -1.0, 2.0, 5.0):
            advice.advisor.fader_stands_at(gone_db)
            left[advised_db, gone_db] = advice.gain_left_db

    assert [left[-3.0, gone_db] for gone_db in (-4.0, -1.0, 2.0, 5.0)] == [0.0, -2.0, -3.0, -3.0]
    assert [left[3.0, gone_db] for gone_db in (-4.0, -1.0, 2.0, 5.0)] == [3.0, 3.0, 1.0, 0.0]
    assert [left[0.0, gone_db] for gone_db in (-4.0, -1.0, 2.0, 5.0)] == [0.0] * 4


def test_steps_and_positions_that_were_told_are_on_record():
    """From them the whole history can be drawn again."""
    fader, _, _, told = reported()
    fader.carry_out(FaderAt(-4.0), 1.0)
    fader.carry_out(Nudge(0.5), 2.0)

    assert [(word.value_db, word.is_position) for word in told] == [(-4.0, True), (0.5, False)]


class KeptMoves:
    """In place of a workstation's fader: the moves that it is asked for."""

    def __init__(self):
        self.asked = []

    def change_by(self, change_db, *, is_advised):
        self.asked.append((change_db, is_advised))
        return ""


def test_once_a_pass_is_over_follow_makes_the_move_for_the_next_one(monkeypatch):
    """As a move of one's own: a look at the pass that is over must not end it."""
    remote = KeptMoves()
    advice = AdviceSchedule(load_goal("r128"), 60.0, None)
    fader = MasterFader(Mix(), advice, lambda _: None, lambda _: None, remote)
    advice.update_advice(0.0, at_rest=False)
    advice.advice = Advice("move", Move(-1.0), from_top=Move(-2.0))
    assert fader.carry_out(Follow(), 1.0) == ""
    monkeypatch.setattr(AdviceSchedule, "is_over", True)
    advice.advice = Advice("ended", Move(), from_top=Move(-2.0))
    assert fader.carry_out(Follow(), 2.0) == ""
    advice.advisor.fader_moved_by(-2.0)

    assert fader.carry_out(Follow(), 3.0) == "No move to make now."
    assert remote.asked == [(-1.0, True), (-2.0, False)]


def test_the_fader_for_the_next_pass_stays_while_the_fader_goes_there(monkeypatch):
    """What is left counts down, so that fader and move always come to the same place."""
    monkeypatch.setattr(AdviceSchedule, "is_over", True)
    advice = AdviceSchedule(load_goal("r128"), 60.0, None)
    advice.update_advice(0.0, at_rest=False)
    advice.advice = Advice("ended", Move(), from_top=Move(-2.1))
    places_db = []
    for gone_db in (0.0, -1.5, -0.6):
        advice.advisor.fader_moved_by(gone_db)
        advice.update_advice(0.1, at_rest=False)
        places_db.append((advice.advisor.fader_db, advice.advice.from_top.gain_db))

    assert places_db == [(0.0, -2.1), (-1.5, -0.6), (pytest.approx(-2.1), 0.0)]
    assert advice.gain_left_db == 0.0
