"""What is said of the master fader, and what becomes of it."""

import pytest

from sidecar.advice.faders.move_detector import Guess
from sidecar.journal.record import FaderReport
from sidecar.model.advice import Advice
from sidecar.model.commands import Confirm, Dismiss, FaderAt, Follow, Nudge
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


def asked(guess):
    """A fader about which a question is open, what was noted, and what was put on record."""
    advice = AdviceSchedule(load_goal("r128"), None, None)
    advice.advisor.guess = guess
    notes: list[str] = []
    told: list[FaderReport] = []
    return MasterFader(Mix(), advice, notes.append, told.append), advice, notes, told


def test_a_yes_makes_the_guess_a_move_of_its_moment():
    """The record has it where it was heard, not where it was answered."""
    fader, advice, notes, told = asked(Guess(0.0, -3.0, 0.9))
    assert fader.carry_out(Confirm(advice.guess), 20.0) == ""

    assert [FaderReport(0.0, -3.0, is_position=False)] == told
    assert notes == ["fader by −3.0 dB at 0 s, as guessed"]
    assert advice.advisor.fader_db == -3.0


def test_a_script_may_answer_whatever_is_asked():
    """Over OSC the answer carries no question."""
    fader, _, _, told = asked(Guess(12.0, -3.0, 0.9))
    fader.carry_out(Confirm(), 20.0)

    assert len(told) == 1


def test_an_answer_to_a_question_that_was_replaced_counts_for_nothing():
    """A key pressed as the next guess came up is not taken for a yes to that one."""
    fader, advice, notes, told = asked(Guess(12.0, -3.0, 0.9))
    seen = advice.guess
    advice.advisor.guess = Guess(40.0, 2.0, 0.9)
    said = fader.carry_out(Confirm(seen), 41.0)

    assert (notes, told, advice.advisor.fader_db) == ([], [], 0.0)
    assert "over" in said
    assert advice.guess


def test_a_no_takes_the_question_away():
    """Nothing moved, nothing is on record."""
    fader, advice, _, told = asked(Guess(12.0, -3.0, 0.9))
    fader.carry_out(Dismiss(advice.guess), 20.0)

    assert (advice.guess, told, advice.advisor.fader_db) == ("", [], 0.0)


def test_a_new_pass_begins_where_the_fader_stands():
    """A position that was reported goes on as one, steps go on as a step; either is on record."""
    for words in ([FaderAt(-4.0), Nudge(0.5)], [Nudge(-3.5)]):
        fader, advice, _, told = asked(None)
        for command in words:
            fader.carry_out(command, 1.0)
        fader.begin_anew("the pass of mix")

        assert advice.advisor.fader_db == -3.5
        assert FaderReport(0.0, -3.5, is_position=words[0] == FaderAt(-4.0)) == told[-1]


def test_a_new_pass_says_nothing_of_a_fader_nobody_told_of():
    """Only differences are known, and there is none."""
    fader, _, _, told = asked(None)
    fader.begin_anew("the pass of mix")

    assert told == []


def test_of_a_move_only_what_the_fader_has_not_gone_yet_is_left():
    """Never more than was advised, and never back."""
    _, advice, _, _ = asked(None)
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
    fader, _, _, told = asked(None)
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
