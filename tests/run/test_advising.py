"""What a run keeps of its advice, and when it lets go of it."""

import numpy as np
import pytest

from sidecar.run.advising import AdviceSchedule
from sidecar.settings.goals import load_goal

LOUD = 10 ** ((-15.0 + 0.691) / 10)
USUAL = 10 ** ((-24.0 + 0.691) / 10)


def test_rides_of_the_goal_before_are_not_shown_for_the_next():
    """R 128 s1 caps short-term at -18 LUFS, which five loud seconds break; R 128 has no such limit."""
    advice = AdviceSchedule(load_goal("r128-s1"), None, None)
    energy = np.full(600, USUAL)
    energy[300:350] = LOUD
    advice.advisor.push_blocks(energy, np.full(600, -20.0), None)
    advice.update_advice(0.0, at_rest=False)
    assert advice.rides

    advice.use_goal(load_goal("r128"))
    assert advice.rides == ()
    advice.update_advice(1.0, at_rest=False)
    assert advice.rides == ()
    assert advice.rides_reason


def shown_after(*parts, at_rest=False):
    """The advice on a pass of unknown length after parts of (seconds, energy), looked at each second."""
    advice = AdviceSchedule(load_goal("r128"), None, None)
    for seconds, energy in parts:
        for _ in range(seconds):
            advice.advisor.push_blocks(np.full(10, energy), np.full(10, -20.0), None)
            advice.update_advice(advice.advisor.seconds, at_rest=False)
    advice.ask_soon()
    advice.update_advice(advice.advisor.seconds, at_rest=at_rest)
    return advice.advice


@pytest.mark.parametrize(
    "ending", [{"parts": [(30, LOUD), (6, 0.0)]}, {"parts": [(30, LOUD)], "at_rest": True}]
)
def test_a_pass_of_unknown_length_that_has_stopped_is_taken_as_it_was_measured(ending):
    """A spot of 30 s, 8 LU too loud: while it plays, more may follow; once it is over, nothing does."""
    playing = shown_after((30, LOUD))
    stopped = shown_after(*ending["parts"], at_rest=ending.get("at_rest", False))

    assert -7.9 < playing.from_top.gain_db < -4.0
    assert stopped.from_top.gain_db == pytest.approx(-8.0, abs=0.05)
    assert stopped.move.landing == pytest.approx(-15.0 + stopped.move.gain_db, abs=0.05)
