"""What the watch promises whatever readings, pauses and losses come."""

from __future__ import annotations

import math

import pytest
from alert_bench import GOAL, OVER, STEP_S, AlertBench
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.alerts.rules import AlertRules
from sidecar.model.readings import ALERT_NAMES, Alert, Reading

levels = st.one_of(
    st.floats(-90.0, 5.0), st.sampled_from([-math.inf, -70.0, -22.8, -22.9, -21.0, -20.0, -1.0, 0.0])
)
updates = st.tuples(
    st.integers(0, 40),  # eighths of a second to the next update
    st.builds(
        Reading,
        momentary=levels,
        short_term=levels,
        integrated=levels,
        max_true_peak=levels,
        seconds=st.floats(0.0, 1e5),
    ),
    levels,
    st.booleans(),  # did audio arrive?
    st.booleans(),  # paused?
)


def follow(script) -> list[tuple[float, tuple[Alert, ...]]]:
    """The alerts of a fresh watch after each update of a script."""
    watch = AlertRules(GOAL)
    now_s = heard_s = 0.0
    history = []
    for eighths, reading, peak_dbtp, arrived, paused in script:
        now_s += eighths * STEP_S
        heard_s = now_s if arrived else heard_s
        alerts = watch.update(
            now_s, reading, peak_dbtp=peak_dbtp, since_audio_s=now_s - heard_s, paused=paused
        )
        history.append((now_s, alerts))
    return history


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(st.lists(updates, min_size=1, max_size=60))
def test_whatever_comes_no_alert_is_on_for_less_than_a_second(script):
    """Any history of readings, pauses and losses: on lasts at least 1 s, and since_s says since when."""
    history = follow(script)

    for index, name in enumerate(ALERT_NAMES):
        came_on_s = None
        for now_s, alerts in history:
            alert = alerts[index]
            if alert.state == "on":
                came_on_s = now_s if came_on_s is None else came_on_s
                assert came_on_s == alert.since_s, name
            elif came_on_s is not None:
                assert now_s - came_on_s >= 1.0, name
                came_on_s = None


@pytest.mark.slow
@settings(max_examples=100, deadline=None)
@given(st.lists(updates, min_size=1, max_size=60))
def test_whatever_comes_the_warnings_do_not_contradict_each_other(script):
    """Only the ceiling latches; lost and silent are never on at once; the same history warns the same."""
    history = follow(script)

    assert history == follow(script)
    for _, alerts in history:
        state = {alert.name: alert.state for alert in alerts}
        assert "latched" not in {state[name] for name in ALERT_NAMES if name != "ceiling"}
        assert (state["lost"], state["silent"]) != ("on", "on")


@pytest.mark.parametrize("level", [math.nan, -math.inf])
def test_values_that_are_no_level_never_warn_of_a_level(level):
    """A reading without numbers, for whatever reason, starts no level warning and breaks nothing."""
    bench = AlertBench(AlertRules(GOAL))
    nothing = Reading(momentary=-23.0, short_term=level, integrated=level, max_true_peak=level, seconds=60.0)

    assert bench.states(60.0, nothing, peak_dbtp=level) == {}
    assert bench.states(2.0, OVER) == {"over": "on"}
