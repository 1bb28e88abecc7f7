"""The alerts of a run: the values that the rules check, and which alerts are on."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from sidecar.alerts.rules import AlertRules
from sidecar.model.readings import SILENCE, Alert, Reading
from sidecar.settings.goals import Goal


class AlertMonitor:
    """Checks readings against the alert rules, peaks between updates included, and records new alerts."""

    def __init__(self, goal: Goal, note: Callable[[str], None]) -> None:
        """note: records the name of an alert in the timeline."""
        self._rules = AlertRules(goal)
        self._note = note
        self._peak_dbtp = SILENCE
        self.alerts: tuple[Alert, ...] = ()

    def push_true_peaks(self, true_peaks_dbtp: Iterable[float]) -> None:
        """Adds true peaks of blocks measured since the last update, dBTP."""
        self._peak_dbtp = max(self._peak_dbtp, *true_peaks_dbtp)

    def update(
        self, now_s: float, reading: Reading, since_audio_s: float, *, paused: bool, ended: bool = False
    ) -> None:
        """Renews the alerts; see :meth:`AlertRules.update`."""
        was_on = {alert.name for alert in self.alerts if alert.state == "on"}
        self.alerts = self._rules.update(
            now_s,
            reading,
            peak_dbtp=self._peak_dbtp,
            since_audio_s=since_audio_s,
            paused=paused,
            ended=ended,
        )
        self._peak_dbtp = SILENCE
        for alert in self.alerts:
            if alert.state == "on" and alert.name not in was_on:
                self._note(alert.name)

    def acknowledge(self) -> None:
        """Clears the latched alerts."""
        self._rules.acknowledge()

    def use_goal(self, goal: Goal) -> None:
        """Checks against *goal* from now on; the measured values are kept."""
        self._rules.change_goal(goal)

    def reset(self) -> None:
        """Clears all alerts for a new programme."""
        self._rules.reset()
        self._peak_dbtp = SILENCE
