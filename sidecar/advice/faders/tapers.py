"""What a fader is: its travel, how far it may go, how fast it may get there."""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass

from sidecar.errors import SettingsError
from sidecar.model.readings import SILENCE, Limit

Point = tuple[float, float]
"""dB and position, 0 at the bottom of the travel and 1 at the top."""

CONSOLE_TRAVEL: tuple[Point, ...] = (
    (-50.0, 0.025),
    (-40.0, 0.075),
    (-30.0, 0.15),
    (-20.0, 0.3),
    (-10.0, 0.5),
    (0.0, 0.75),
    (10.0, 1.0),
)
"""Unity at three quarters of the travel, 10 dB a quarter around it, far steeper below -30 dB, +10 dB at
the top (common practice, no source)."""


class Taper:
    """A fader's travel: dB to position and back, exactly, and monotone.

    Between the points the travel is linear in dB. Under the lowest point the *amplitude* falls linearly
    to nothing, so that the bottom of the travel is ``-inf`` dB and the way there has no jump.
    """

    def __init__(self, points: Iterable[Point] = CONSOLE_TRAVEL) -> None:
        """points: (dB, position) in ascending order, the last at position 1.

        Raises SettingsError where the points do not rise.
        """
        self.points = tuple((float(gain_db), float(position)) for gain_db, position in points)
        _check(self.points)
        self._gains = [gain_db for gain_db, _ in self.points]
        self._positions = [position for _, position in self.points]

    @property
    def top_db(self) -> float:
        """The most that the fader can give."""
        return self._gains[-1]

    def position(self, gain_db: float) -> float:
        """Position of the fader at *gain_db*: 0 to 1; levels above the top stand at the top, and what is
        no number at the bottom, the safe end."""
        lowest_db, lowest = self.points[0]
        if math.isnan(gain_db):
            return 0.0
        if gain_db <= lowest_db:
            return lowest * float(10.0 ** ((gain_db - lowest_db) / 20.0))
        return _between(self._gains, self._positions, gain_db)

    def gain_db(self, position: float) -> float:
        """What the fader gives at *position*; ``-inf`` at the bottom and for what is no number.

        Positions are held to 0 … 1.
        """
        lowest_db, lowest = self.points[0]
        if math.isnan(position) or position <= 0.0:
            return SILENCE
        if position <= lowest:
            return lowest_db + 20.0 * math.log10(position / lowest)
        return _between(self._positions, self._gains, position)


def _between(given: list[float], wanted: list[float], value: float) -> float:
    if value >= given[-1]:
        return wanted[-1]
    right = bisect.bisect_right(given, value)
    share = (value - given[right - 1]) / (given[right] - given[right - 1])
    return wanted[right - 1] + share * (wanted[right] - wanted[right - 1])


def _check(points: tuple[Point, ...]) -> None:
    if len(points) < 2:
        raise SettingsError(
            f"A fader's travel needs two points or more, not {len(points)}: add (dB, position)."
        )
    for (low_db, low), (high_db, high) in itertools.pairwise(points):
        if not (math.isfinite(low_db) and low_db < high_db < math.inf and 0.0 < low < high):
            raise SettingsError(
                f"A fader's travel must rise: ({high_db:g} dB, {high:g}) cannot follow "
                f"({low_db:g} dB, {low:g}). Put the points in ascending order, positions above 0."
            )
    if points[-1][1] != 1.0:
        raise SettingsError(f"A fader's travel must end at position 1, not {points[-1][1]:g}: add its top.")


@dataclass(frozen=True, slots=True)
class FaderLimits:
    """How far a fader may be moved. Upward is held tighter than downward: only up can hurt.

    The figures are ours, chosen with Tech 3343 §3.2 in mind: correct by little, then wait.
    """

    step_up_db: float = 3.0
    """Most that one move may raise."""
    step_down_db: float = 6.0
    """Most that one move may lower one fader against the others; more is a new balance."""
    total_up_db: float = 6.0
    """Most that all moves together may raise above the fader's position at the time of arming."""
    lowest_db: float = -60.0
    """The fader's range, its low end."""
    highest_db: float = 10.0
    """The fader's range, its high end."""

    def __post_init__(self) -> None:
        """Raises SettingsError where a limit makes no sense."""
        amounts = (self.step_up_db, self.step_down_db, self.total_up_db)
        if not all(0.0 <= amount < math.inf for amount in amounts):
            raise SettingsError(f"A fader's steps must be 0 dB or more and finite, not {amounts}.")
        if not (math.isfinite(self.lowest_db) and self.lowest_db < self.highest_db < math.inf):
            raise SettingsError(
                f"A fader's range must rise from its lowest to its highest level, not from "
                f"{self.lowest_db:g} to {self.highest_db:g} dB."
            )

    def within(self, position_db: float, change_db: float) -> tuple[float, Limit | None]:
        """As much of a change as one move may make, and what cut it.

        A fader that is outside the range already is not pushed further out, nor pulled back in.

        Parameters
        ----------
        position_db
            Position of the fader.
        change_db
            The change that is wanted.

        Returns
        -------
        tuple[float, Limit | None]
            The change that is allowed, dB, and ``"step"``, ``"range"`` or None for what cut it.
        """
        room_down = min(self.lowest_db - position_db, 0.0)
        room_up = max(self.highest_db - position_db, 0.0)
        step = min(max(change_db, -self.step_down_db), self.step_up_db)
        allowed = min(max(step, room_down), room_up)
        if allowed != step:
            return allowed, "range"
        return allowed, None if step == change_db else "step"


RISE_DB_PER_S = 1.0
"""Ours: how fast a fader is moved up; slow enough for a hand on it to stop it in time."""


@dataclass(frozen=True, slots=True)
class Ramp:
    """A fader on its way: its position and since when. Each step gives the next one."""

    position_db: float
    at_s: float
    up_db_per_s: float = RISE_DB_PER_S
    down_db_per_s: float = 10.0

    FLOOR_DB = -60.0
    """Where a rise from silence begins and a fall into silence ends."""
    LONGEST_STEP_S = 0.25
    """After a longer pause the ramp goes on as if it had been this long: waking up is no leap."""

    def towards(self, target_db: float, now_s: float) -> Ramp:
        """The ramp at *now_s*, moved towards *target_db* as far as its rates allow."""
        elapsed_s = min(max(now_s - self.at_s, 0.0), self.LONGEST_STEP_S)
        position_db = self._next(target_db, elapsed_s)
        return Ramp(position_db, max(now_s, self.at_s), self.up_db_per_s, self.down_db_per_s)

    def _next(self, target_db: float, elapsed_s: float) -> float:
        if target_db > self.position_db:
            start_db = max(self.position_db, min(self.FLOOR_DB, target_db))
            return min(target_db, start_db + self.up_db_per_s * elapsed_s)
        lower_db = max(target_db, self.position_db - self.down_db_per_s * elapsed_s)
        return target_db if lower_db < self.FLOOR_DB else lower_db
