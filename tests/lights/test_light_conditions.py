"""What a light receives of a run: each condition out of alerts, transport and readings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sidecar.lights import conditions
from sidecar.lights.conditions import CONDITIONS
from sidecar.model.readings import ALERT_NAMES, SILENCE, Alert, Reading
from sidecar.model.snapshot import Snapshot
from sidecar.settings.goals import Goal

# EBU R 128 V5: target h), measurement allowance i), ceiling m).
GOAL = Goal(
    name="r128",
    title="EBU R 128",
    target_lufs=-23.0,
    tolerance_below_lu=0.2,
    tolerance_above_lu=0.2,
    ceiling_dbtp=-1.0,
    hot_lufs=-20.0,
)


def run(
    *on, transport="measuring", latched=False, integrated=-23.0, seconds=60.0, goal=GOAL, script=""
) -> Snapshot:
    """A snapshot with these alerts on."""
    states = {name: "on" if name in on else "off" for name in ALERT_NAMES}
    if latched:
        states["ceiling"] = "latched"
    alerts = tuple(Alert(name, state) for name, state in states.items())
    reading = Reading(integrated=integrated, seconds=seconds)
    return Snapshot(transport=transport, goal=goal, reading=reading, alerts=alerts, script_fault=script)


@pytest.mark.parametrize(
    ("snapshot", "expected"),
    [
        (run(), {"inside"}),
        (run(integrated=-23.2), {"inside"}),
        (run(integrated=-23.24), {"inside"}),  # shown as −23.2, which passes
        (run(integrated=-23.26), {"under"}),
        (run(integrated=-22.0), {"inside"}),  # the alert's hold is not over yet
        (run("over", integrated=-22.0), {"over"}),
        (run("hot"), {"hot", "inside"}),
        (run("ceiling", "over", integrated=-20.0), {"ceiling", "over"}),
        (run(latched=True), {"latched", "inside"}),
        (run("silent"), {"silent", "inside"}),
        (run(seconds=2.9), {"waiting"}),
        (run(integrated=SILENCE), {"waiting"}),
        (run(transport="paused"), {"paused", "inside"}),
        (run("over", transport="paused"), {"paused", "over"}),
        (run(transport="waiting"), {"waiting"}),
        (run(transport="preparing", seconds=0.0), {"waiting"}),
        (run(transport="ready", integrated=SILENCE, seconds=9.0), {"ready", "waiting"}),
        (run("silent", transport="ready", integrated=SILENCE), {"ready", "silent", "waiting"}),
        (run(script="It failed."), {"script", "inside"}),
        (run(script="It failed.", transport="waiting"), {"script", "waiting"}),
        (run("lost", transport="waiting"), {"lost"}),
        (run("lost", "over", "ceiling"), {"lost"}),
        (run("over", "ceiling", transport="ended"), set()),
        (run(integrated=-60.0, goal=replace(GOAL, tolerance_below_lu=float("inf"))), {"inside"}),
    ],
)
def test_each_moment_of_a_run_is_told_in_its_conditions(snapshot, expected):
    """Nothing is known without audio, and nothing after the end; under needs a goal that has a lower side."""
    assert conditions(snapshot) == expected


def test_every_condition_can_hold():
    """The words that a file may use are those that a run can bring about."""
    seen = set()
    for snapshot in (
        run("ceiling", "hot", "over", "silent"),
        run(latched=True, transport="paused"),
        run(integrated=-40.0),
        run(),
        run(seconds=0.0),
        run("lost"),
        run(transport="ready", script="It failed."),
    ):
        seen |= conditions(snapshot)

    assert seen == set(CONDITIONS)
