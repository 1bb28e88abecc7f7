"""When each of a run's lights changes. Pure: time is an argument."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sidecar.alerts.rules import FlashLimit
from sidecar.lights.conditions import Condition
from sidecar.lights.light import Light, Value

REPEAT_S = 1.0
"""A state is sent again after so long, so that a light is wrong for no longer after a lost datagram, and a
receiver that gets nothing for a few seconds can conclude that the sidecar has ended."""
SAFE_REPEAT_S = 0.35
"""The same once the run has ended; three in a second is what the limit lets through."""


class LightMachine:
    """Computes the values of all lights of a run from its conditions.

    Caution: flashing light can cause seizures. All lights of a run are sent together and share one limit:
    side by side they are one light to the eye (``alerts.FlashLimit``). The limit counts each sending,
    whether it changes anything or not, because the one that is lost and the one that repeats it may each
    be the one that is seen. So no light changes more than 3 times in any second, whatever the lights'
    files say and whatever the network loses.
    """

    def __init__(self, lights: Sequence[Light]) -> None:
        self._choices = [_Choice(light) for light in lights]
        self._shown: tuple[Value | None, ...] = (None,) * len(lights)
        self._limit = FlashLimit(0)
        self._sendings = 0
        self._sent_s = -math.inf
        self._repeat_s = REPEAT_S

    def values_to_send(self, now_s: float, conditions: frozenset[Condition]) -> tuple[Value, ...] | None:
        """Returns what to send now, one value a light in the order of the lights; None when nothing is due.

        Call it at least 10 times a second: a change that is held back is returned by a later call.
        now_s: a monotonic clock's seconds.
        """
        wanted = tuple(choice.next_value(now_s, conditions) for choice in self._choices)
        due = wanted != self._shown or now_s - self._sent_s >= self._repeat_s
        sent = due and self._may_send(now_s)
        if sent:
            self._shown, self._sent_s = wanted, now_s
        for choice, value, shown in zip(self._choices, wanted, self._shown, strict=True):
            if value == shown:
                choice.see(now_s)
        return wanted if sent else None

    def switch_to_safe(self) -> None:
        """Sets every light to its safe value from the next update on, and repeats it more often."""
        self._repeat_s = SAFE_REPEAT_S
        for choice in self._choices:
            choice.switch_to_safe()

    def _may_send(self, now_s: float) -> bool:
        sendings = self._limit.update(now_s, self._sendings + 1)
        may = sendings > self._sendings
        self._sendings = sendings
        return may


class _Choice:
    """Which show of a light is on."""

    def __init__(self, light: Light) -> None:
        self._safe = light.safe
        self._shows = light.shows
        self._held_from_s: list[float | None] = [None] * len(light.shows)
        self._on = len(light.shows)
        """Place of the show that is on; behind the last: none, so the safe value."""
        self._seen_from_s: float | None = None
        """When it was first sent; None while the limit holds it back."""

    def next_value(self, now_s: float, conditions: frozenset[Condition]) -> Value:
        asked = self._asked(now_s, conditions)
        if asked < self._on or (asked > self._on and self._is_over(now_s)):
            self._on, self._seen_from_s = asked, None
        if self._on == len(self._shows):
            return self._safe
        seen_from_s = now_s if self._seen_from_s is None else self._seen_from_s
        return self._shows[self._on].at(now_s - seen_from_s)

    def see(self, now_s: float) -> None:
        """Notes that the show that is on has been sent."""
        if self._seen_from_s is None:
            self._seen_from_s = now_s

    def switch_to_safe(self) -> None:
        self._shows, self._held_from_s = (), []
        self._on = 0

    def _asked(self, now_s: float, conditions: frozenset[Condition]) -> int:
        """Returns the place of the first show whose condition has held for long enough."""
        asked = len(self._shows)
        for place, show in reversed(list(enumerate(self._shows))):
            if not show.holds(conditions):
                self._held_from_s[place] = None
                continue
            held_from_s = self._held_from_s[place]
            if held_from_s is None:
                held_from_s = self._held_from_s[place] = now_s
            if now_s - held_from_s >= show.hold_s:
                asked = place
        return asked

    def _is_over(self, now_s: float) -> bool:
        """Whether the show that is on has been sent for its shortest time, so that a later one may follow."""
        return self._seen_from_s is not None and now_s - self._seen_from_s >= self._shows[self._on].min_on_s
