"""The conditions of a run that a light can show, by their names in a settings file."""

from __future__ import annotations

import math
from typing import Literal

from sidecar.alerts.rules import OVER_FROM_S
from sidecar.loudness.limits import is_under
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Snapshot

Condition = Literal[
    "ceiling",
    "latched",
    "hot",
    "over",
    "under",
    "inside",
    "silent",
    "paused",
    "waiting",
    "ready",
    "lost",
    "script",
]

CONDITIONS: dict[Condition, str] = {
    "ceiling": "true peaks pass the ceiling",
    "latched": "true peaks passed the ceiling before, not yet acknowledged",
    "hot": "short-term is above the hot line",
    "over": "integrated is above what passes",
    "under": "integrated is below what passes",
    "inside": "integrated is within the goal's tolerance",
    "silent": "audio arrives and is silent",
    "paused": "the measurement is paused",
    "waiting": "getting ready, or too little measured to judge",
    "ready": "the meter runs and waits for sound",
    "lost": "no audio arrives",
    "script": "a script of --on has failed, not yet acknowledged",
}
"""Each condition and what it means."""


def conditions(snapshot: Snapshot) -> frozenset[Condition]:
    """Returns the conditions that hold at this moment. None once the run has ended; ``lost`` alone while no
    audio arrives, since the last readings may be out of date."""
    alerts = {alert.name: alert.state for alert in snapshot.alerts}
    if snapshot.transport == "ended":
        return frozenset()
    if alerts.get("lost") == "on":
        return frozenset({"lost"})
    if snapshot.transport in {"preparing", "waiting"}:
        return frozenset({"waiting", "script"} if snapshot.script_fault else {"waiting"})
    found: set[Condition] = {name for name, state in alerts.items() if state == "on" and name != "lost"}
    if alerts.get("ceiling") == "latched":
        found.add("latched")
    if snapshot.transport == "paused":
        found.add("paused")
    if snapshot.transport == "ready":
        found.add("ready")
    if snapshot.script_fault:
        found.add("script")
    if "over" not in found:
        found.add(_standing(snapshot.reading, snapshot.goal.lowest_lufs))
    return frozenset(found)


def _standing(reading: Reading, lowest_lufs: float) -> Condition:
    """How the programme compares with the goal, as shown (Tech 3341 §2.8) and as judged at the end, while the
    alert ``over`` is off."""
    if reading.seconds < OVER_FROM_S or math.isinf(reading.integrated):
        return "waiting"
    return "under" if is_under(reading.integrated, lowest_lufs) else "inside"
