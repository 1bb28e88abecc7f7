"""Whole runs with an armed fader: nothing raises it too fast, too far, or where nothing may rise.

tests/benchmarks/armed_runs.py plays as many as are asked for.
"""

from functools import cache

import pytest
from fader_scenarios import Scenario

pytestmark = pytest.mark.slow

SCENARIOS = 20
SLICE = 10


@cache
def played(seed):
    """A scenario that is over. Every second workstation says the truth, if late or not at all; the others say
    anything."""
    scenario = Scenario(seed, is_honest=seed % 2 == 0)
    scenario.run()
    return scenario


@pytest.mark.parametrize("first", range(0, SCENARIOS, SLICE))
def test_no_sequence_raises_a_fader_too_fast_too_far_or_in_silence(first):
    faults = [fault for seed in range(first, first + SLICE) for fault in played(seed).faults]

    assert faults == []


def test_the_scenarios_do_move_faders():
    """Else they could find nothing: datagrams leave, up and down, and some rise by half a step and more."""
    honest = [played(seed) for seed in range(0, SCENARIOS, 2)]

    assert sum(scenario.datagrams for scenario in honest) > 25
    assert max(scenario.risen_db for scenario in honest) > 1.5


@pytest.mark.parametrize("seed", range(3))
def test_the_judge_sees_a_leap(seed):
    """A position that leaves beside the guard is found."""
    scenario = Scenario(seed)
    scenario._claimed = (scenario.now_s, scenario.fader_db)
    scenario._known_s = scenario.now_s
    scenario._arrive(scenario.fader_db + 2.0)

    assert {fault.words.split()[0] for fault in scenario.faults} == {"leapt", "rose"}
