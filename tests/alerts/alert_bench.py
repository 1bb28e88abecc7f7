"""A watch, its clock and the readings that its tests play to it. Steps are 1/8 s, exact in binary."""

from __future__ import annotations

from dataclasses import replace

from sidecar.alerts.rules import AlertRules
from sidecar.model.readings import SILENCE, Alert, Reading
from sidecar.settings.goals import Goal

STEP_S = 0.125

# EBU R 128 V5: target h), measurement allowance i), ceiling m). The hot line is three LU above the target.
GOAL = Goal(
    name="r128",
    title="EBU R 128",
    target_lufs=-23.0,
    tolerance_below_lu=0.2,
    tolerance_above_lu=0.2,
    ceiling_dbtp=-1.0,
    hot_lufs=-20.0,
)
ON_TARGET = Reading(
    momentary=-23.0, short_term=-23.0, integrated=-23.0, max_true_peak=-6.0, sample_peak=-6.1, seconds=60.0
)
OVER = replace(ON_TARGET, integrated=-22.0)
HOT = replace(ON_TARGET, short_term=-19.0)
SILENT = replace(ON_TARGET, momentary=SILENCE, short_term=SILENCE)


class AlertBench:
    """A watch and a clock that the test moves."""

    def __init__(self, watch: AlertRules) -> None:
        self.watch = watch
        self.now_s = 100.0

    def play(self, seconds: float, reading: Reading, **line) -> dict[str, Alert]:
        """Updates every STEP_S for so long; the alerts after the last one, by name."""
        assert seconds >= STEP_S
        for _ in range(round(seconds / STEP_S)):
            self.now_s += STEP_S
            alerts = self.watch.update(self.now_s, reading, **line)
        return {alert.name: alert for alert in alerts}

    def states(self, seconds: float, reading: Reading, **line) -> dict[str, str]:
        """As play, only the states of what is not off."""
        return {
            name: alert.state
            for name, alert in self.play(seconds, reading, **line).items()
            if alert.state != "off"
        }
