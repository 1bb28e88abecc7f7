"""The rules of the five alerts. Pure: time is an argument, nothing here reads a clock or drives a light.

``over`` and ``ceiling`` follow the rule by which a finished programme is judged
(``sidecar/loudness/limits.py``): an alert and a verdict never contradict each other. The tolerance that
standards grant a true-peak meter (+0.2/-0.4 dB, Tech 3341 cases 15 to 23; ±0.3 dB, R 128 V5 m) is not taken
off: a warning that comes early is the safer error.
"""

from __future__ import annotations

from collections import deque
from typing import Generic, TypeVar

from sidecar.loudness.limits import is_over
from sidecar.model.readings import SILENCE, Alert, AlertState, Reading
from sidecar.settings.goals import Goal

# Ours, where no source is named.
MIN_ON_S = 1.0
"""A warning stays on at least this long, so that it can be seen and a light does not flicker."""
OVER_FROM_S = 3.0
"""Of measured programme: earlier, integrated is too uncertain. The length of the short-term window (Tech 3341
§2.2)."""
OVER_HOLD_S = 1.0
"""A live integrated value is renewed at least once in this time (Tech 3341 §2.2)."""
OVER_HYSTERESIS_LU = 0.1
"""How exact a meter must be (Tech 3341 §2.9, table 1): less is no change."""
HOT_HYSTERESIS_LU = 1.0
HOT_RELEASE_S = 1.0
LOST_AFTER_S = 1.0
"""Far from the 17 to 39 ms between callbacks that were measured on a healthy capture."""
SILENCE_LUFS = -70.0
"""BS.1770-5 Annex 1: at or below the absolute gate nothing is counted as programme."""
SILENT_AFTER_S = 10.0

FLASH_CHANGES = 3
FLASH_WINDOW_S = 1.0
"""WCAG 2.x SC 2.3.1 and ITU-R BT.1702 end at 3 flashes in any second. A flash is a pair of changes;
we count each change, which is twice as strict."""

State = TypeVar("State")


class AlertRules:
    """Computes the five alerts from readings.

    over     integrated above the highest value that passes
    hot      short-term above the goal's hot line for the goal's hold
    ceiling  a true peak above the ceiling: on while peaks come, then latched until acknowledged
    lost     no audio has arrived for LOST_AFTER_S
    silent   audio arrives, but momentary has been below SILENCE_LUFS for ``silent_after_s``

    While paused, integrated and ``over`` do not change; peaks are no part of the programme and silence is
    expected, so ``ceiling`` and ``silent`` do not start. Short-term is still measured, and ``hot`` with it.
    While ``lost``, ``hot`` and ``silent`` do not start, since no audio arrives.
    """

    def __init__(self, goal: Goal, *, silent_after_s: float = SILENT_AFTER_S) -> None:
        self._goal = goal
        self._silent_after_s = silent_after_s
        self._over = _Switch()
        self._hot = _Switch()
        self._lost = _Switch()
        self._silent = _Switch()
        self._ceiling = _Latch()
        self._highest_dbtp = self._hot_peak_lufs = SILENCE
        self._quiet_from_s: float | None = None
        self._now_s = 0.0

    def update(
        self,
        now_s: float,
        reading: Reading,
        *,
        peak_dbtp: float = SILENCE,
        since_audio_s: float = 0.0,
        paused: bool = False,
        ended: bool = False,
    ) -> tuple[Alert, ...]:
        """Returns all five alerts at this moment, in the order of ``ALERT_NAMES``; call it 10 times a second.

        now_s: a monotonic clock's seconds; one that steps back only starts the holds anew.
        peak_dbtp: the highest true peak of all channels since the call before; ``-inf`` for none.
        since_audio_s: seconds since frames last arrived, or since the start where none has; finite.
        paused: the person has paused the measurement.
        ended: this is the last update of the programme: ``over`` is what the verdict says, without a hold.
        """
        self._now_s = now_s
        goal = self._goal

        self._lost.update(now_s, trip=since_audio_s > LOST_AFTER_S, clear=since_audio_s <= LOST_AFTER_S)
        lost = self._lost.is_on

        quiet_s = self._quiet_s(now_s - since_audio_s, reading, listening=not (lost or paused))
        quiet_for_long = quiet_s > self._silent_after_s
        self._silent.update(now_s, trip=quiet_for_long, clear=not quiet_for_long)

        self._hot.update(
            now_s,
            trip=not lost and reading.short_term > goal.hot_lufs,
            clear=lost or reading.short_term < goal.hot_lufs - HOT_HYSTERESIS_LU,
            trip_hold_s=goal.hot_hold_s,
            clear_hold_s=HOT_RELEASE_S,
        )
        is_hot = self._hot.state != "off"
        self._hot_peak_lufs = max(self._hot_peak_lufs, reading.short_term) if is_hot else reading.short_term
        self._over.update(
            now_s,
            trip=reading.seconds >= OVER_FROM_S and is_over(reading.integrated, goal.highest_lufs),
            clear=reading.integrated < goal.highest_lufs - OVER_HYSTERESIS_LU,
            trip_hold_s=OVER_HOLD_S,
        )
        if ended:
            self._over.put(now_s, is_on=is_over(reading.integrated, goal.highest_lufs))
        new_peak_dbtp = SILENCE if paused else peak_dbtp
        if reading.max_true_peak > self._highest_dbtp:
            # Also where no block got full with it: one that a pause, a gap or the end cut short.
            new_peak_dbtp = max(new_peak_dbtp, reading.max_true_peak)
            self._highest_dbtp = reading.max_true_peak
        self._ceiling.update(now_s, struck=is_over(new_peak_dbtp, goal.ceiling_dbtp))

        over, hot, ceiling = self._over, self._hot, self._ceiling
        return (
            Alert("ceiling", ceiling.state, reading.max_true_peak, goal.ceiling_dbtp, ceiling.since_s),
            Alert("over", over.state, reading.integrated, goal.highest_lufs, over.since_s),
            Alert("hot", hot.state, self._hot_peak_lufs, goal.hot_lufs, hot.since_s),
            Alert("lost", self._lost.state, since_audio_s, LOST_AFTER_S, self._lost.since_s),
            Alert("silent", self._silent.state, quiet_s, self._silent_after_s, self._silent.since_s),
        )

    def acknowledge(self) -> None:
        """Acknowledges the ceiling alert: from the next update on it shows new peaks only."""
        self._ceiling.acknowledge()

    def reset(self) -> None:
        """Starts a new programme: over, hot and ceiling are off; lost and silent, about the input, go on."""
        for alert in (self._over, self._hot, self._ceiling):
            alert.put_out(self._now_s)
        self._highest_dbtp = SILENCE

    def change_goal(self, goal: Goal) -> None:
        """Judges the programme afresh, its highest peak so far included. The same goal changes nothing."""
        if goal == self._goal:
            return
        self._goal = goal
        self.reset()

    def _quiet_s(self, audio_until_s: float, reading: Reading, *, listening: bool) -> float:
        """Returns for how many seconds the audio that arrived has been silent."""
        if not (listening and reading.momentary < SILENCE_LUFS):
            self._quiet_from_s = None
            return 0.0
        if self._quiet_from_s is None or self._quiet_from_s > audio_until_s:
            self._quiet_from_s = audio_until_s
        return audio_until_s - self._quiet_from_s


class _Switch:
    """Off or on: each change is asked for during a hold, and on lasts at least MIN_ON_S."""

    def __init__(self) -> None:
        self.is_on = False
        self.since_s = 0.0
        self._asked_from_s: float | None = None

    @property
    def state(self) -> AlertState:
        return "on" if self.is_on else "off"

    def update(
        self, now_s: float, *, trip: bool, clear: bool, trip_hold_s: float = 0.0, clear_hold_s: float = 0.0
    ) -> None:
        self.since_s = min(self.since_s, now_s)  # a clock that steps back must not leave the alert stuck
        asked = clear if self.is_on else trip
        if not asked:
            self._asked_from_s = None
            return
        if self._asked_from_s is None or self._asked_from_s > now_s:
            self._asked_from_s = now_s
        hold_s = clear_hold_s if self.is_on else trip_hold_s
        if now_s - self._asked_from_s < hold_s or (self.is_on and now_s - self.since_s < MIN_ON_S):
            return
        self._set(not self.is_on, now_s)

    def put(self, now_s: float, *, is_on: bool) -> None:
        """On or off at once, whatever was asked for."""
        if self.is_on != is_on:
            self._set(is_on, now_s)
        self._asked_from_s = None

    def put_out(self, now_s: float) -> None:
        """Off at once, whatever was asked for."""
        self.put(now_s, is_on=False)

    def _set(self, is_on: bool, now_s: float) -> None:
        self.is_on = is_on
        self.since_s = now_s
        self._asked_from_s = None


class _Latch:
    """On for MIN_ON_S after the latest strike, then latched until acknowledged."""

    def __init__(self) -> None:
        self.state: AlertState = "off"
        self.since_s = 0.0
        self._struck_s = 0.0
        self._is_acknowledged = False

    def update(self, now_s: float, *, struck: bool) -> None:
        self.since_s = min(self.since_s, now_s)
        self._struck_s = min(self._struck_s, now_s)
        if struck:
            self._struck_s = now_s
            self._is_acknowledged = False
            self._set("on", now_s)
            return
        if self.state == "on" and now_s - self._struck_s < MIN_ON_S:
            return
        if self.state != "off":
            self._set("off" if self._is_acknowledged else "latched", now_s)

    def acknowledge(self) -> None:
        self._is_acknowledged = True

    def put_out(self, now_s: float) -> None:
        self._set("off", now_s)

    def _set(self, state: AlertState, now_s: float) -> None:
        if state != self.state:
            self.state = state
            self.since_s = now_s


class FlashLimit(Generic[State]):
    """Limits the state of a light to FLASH_CHANGES changes in any FLASH_WINDOW_S.

    Caution: flashing light can cause seizures. Give each light its own limit; give lights that sit together
    one limit, fed with all their states as a tuple, since to the eye they are one light.
    """

    def __init__(self, state: State) -> None:
        """state: what the light shows now."""
        self._shown = state
        self._changed_s: deque[float] = deque(maxlen=FLASH_CHANGES)
        self._now_s: float | None = None

    def update(self, now_s: float, state: State) -> State:
        """Returns the state that the light may show now. Call it again, with an unchanged state too: a change
        that was held back follows as soon as the limit allows.

        now_s: a monotonic clock's seconds. One that steps back is taken to have stopped: the time that
        has passed is unknown, and too few changes are safe.
        """
        if self._now_s is not None and now_s < self._now_s:
            step_s = self._now_s - now_s
            self._changed_s = deque((at - step_s for at in self._changed_s), maxlen=FLASH_CHANGES)
        self._now_s = now_s
        if state == self._shown or self._is_spent(now_s):
            return self._shown
        self._changed_s.append(now_s)
        self._shown = state
        return state

    def _is_spent(self, now_s: float) -> bool:
        return len(self._changed_s) == FLASH_CHANGES and now_s - self._changed_s[0] <= FLASH_WINDOW_S
