"""The alerts of a run: what the watch is told, and which of them are on."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from sidecar.alerts.rules import AlertRules
from sidecar.model.readings import SILENCE, Alert, Reading
from sidecar.settings.goals import Goal


class AlertMonitor:
    """Holds the peaks between two updates, so that none is missed, and notes each alert that comes on."""

    def __init__(self, goal: Goal, note: Callable[[str], None]) -> None:
        """note: writes the name of an alert into the course."""
        self._watch = AlertRules(goal)
        self._note = note
        self._peak_dbtp = SILENCE
        self.alerts: tuple[Alert, ...] = ()

    def push_true_peaks(self, true_peaks_dbtp: Iterable[float]) -> None:
        """True peaks of blocks that were measured since the last update."""
        self._peak_dbtp = max(self._peak_dbtp, *true_peaks_dbtp)

    def update(self, now_s: float, reading: Reading, since_audio_s: float, *, paused: bool) -> None:
        """Renews the alerts."""
        was_on = {alert.name for alert in self.alerts if alert.state == "on"}
        self.alerts = self._watch.update(
            now_s, reading, peak_dbtp=self._peak_dbtp, since_audio_s=since_audio_s, paused=paused
        )
        self._peak_dbtp = SILENCE
        for alert in self.alerts:
            if alert.state == "on" and alert.name not in was_on:
                self._note(alert.name)

    def acknowledge(self) -> None:
        """The held alerts have been seen."""
        self._watch.acknowledge()

    def use_goal(self, goal: Goal) -> None:
        """Another goal; what was heard stays."""
        self._watch.change_goal(goal)

    def reset(self) -> None:
        """A new programme."""
        self._watch.reset()
        self._peak_dbtp = SILENCE
