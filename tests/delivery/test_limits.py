"""The one rule for "passes", against figures written out by hand and against all other places that judge."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made import made

from sidecar.alerts.rules import OVER_FROM_S, OVER_HOLD_S, AlertRules
from sidecar.delivery.judge.verdict import judge
from sidecar.loudness.limits import are_over, broken_limits, find_broken_limits, is_over
from sidecar.model.readings import SILENCE, Reading
from sidecar.settings.goals import load_goal

RIGHT = Reading(integrated=-23.0, max_true_peak=-3.0, max_short_term=-19.0, max_momentary=-17.0, seconds=60.0)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, ()),
        ({"integrated": -22.76}, ()),  # R 128 V5 i): ±0.2 LU; shown as −22.8
        ({"integrated": -22.74}, ("loud",)),
        ({"integrated": -23.24}, ()),
        ({"integrated": -23.26}, ("quiet",)),
        ({"max_true_peak": -0.96}, ()),  # R 128 V5 m): −1 dBTP
        ({"max_true_peak": -0.94}, ("true peak",)),
        ({"max_short_term": -17.96}, ()),  # R 128 s1: −18 LUFS
        ({"max_short_term": -17.94}, ("short-term",)),
        ({"integrated": SILENCE}, ("silent",)),
        ({"bad_samples": 1}, ("damage",)),
        ({"bad_samples": 3, "integrated": -10.0, "max_true_peak": 0.0}, ("damage", "loud", "true peak")),
    ],
)
def test_a_figure_breaks_its_limit_when_the_two_are_shown_so(changes, words):
    assert broken_limits(replace(RIGHT, **changes), load_goal("r128-s1")) == words


def test_the_excess_is_the_difference_of_what_is_shown():
    broken = find_broken_limits(replace(RIGHT, integrated=-20.04, max_true_peak=0.26), load_goal("r128"))

    assert [(limit.name, limit.excess) for limit in broken] == [("loud", 2.8), ("true peak", 1.3)]


LEVELS = st.integers(-3000, 100).map(lambda hundredths: hundredths / 100.0)


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(
    integrated=st.one_of(LEVELS, st.just(SILENCE)),
    peak=LEVELS,
    short_term=LEVELS,
    bad_samples=st.integers(0, 2),
    goal=st.sampled_from(["r128", "r128-s1", "a85", "aes-track"]),
)
def test_a_file_a_pass_and_an_alert_never_contradict_each_other(
    integrated, peak, short_term, bad_samples, goal
):
    goal = load_goal(goal)
    figures = {
        "integrated": integrated,
        "max_true_peak": peak,
        "max_short_term": short_term,
        "bad_samples": bad_samples,
    }
    broken = broken_limits(replace(RIGHT, **figures), goal)
    verdict = judge(made(**figures), goal)
    alerts = _settled_alerts(replace(RIGHT, **figures), goal)

    assert verdict.passes == (not broken)
    assert alerts["ceiling"] == ("true peak" in broken)
    assert alerts["over"] == ("loud" in broken)


@given(LEVELS, st.integers(-300, 0).map(lambda tenths: tenths / 10.0))
def test_the_history_of_a_file_is_judged_as_its_maximum_is(value, limit):
    assert bool(are_over(np.array([value], np.float32), limit)[0]) == is_over(float(np.float32(value)), limit)


def _settled_alerts(reading, goal):
    watch = AlertRules(goal)
    for now_s in (OVER_FROM_S, OVER_FROM_S + 2.0 * OVER_HOLD_S):
        alerts = watch.update(now_s, reading)
    return {alert.name: alert.state != "off" for alert in alerts}
