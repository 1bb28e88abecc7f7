"""What a run keeps of its advice, and when it lets go of it."""

import numpy as np

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
