"""The past positions of the master fader, from its feedback or from a person."""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass

import numpy as np

from sidecar.errors import SettingsError
from sidecar.loudness.series import Floats, Series
from sidecar.model.readings import BLOCK_S


@dataclass(frozen=True, slots=True)
class _Event:
    time_s: float
    value_db: float
    is_absolute: bool


class FaderHistory:
    """Holds the fader's positions over the programme, from feedback and from reported moves.

    Reported moves change the position from their time on; feedback sets it. Until the first feedback only
    differences are known: positions then count from 0 dB, and are corrected backwards once feedback comes.
    Events may be added late and in any order. So every one is kept, a repeated position too: a late move may
    come to lie before it. Callers leave out the repeats of a fader at rest (:meth:`repeats`).
    """

    def __init__(self) -> None:
        self.is_absolute = False
        """True once feedback has given a position."""
        self._events: list[_Event] = []
        self._resolve()

    def repeats(self, position_db: float) -> bool:
        """Returns whether the latest event is feedback of this very position."""
        latest = self._events[-1:]
        return any(event.is_absolute and event.value_db == position_db for event in latest)

    def add_feedback(self, time_s: float, position_db: float) -> None:
        """Adds feedback: the fader was at *position_db* from *time_s* on (``-inf``: closed).

        Raises SettingsError for values that are no position.
        """
        if math.isnan(position_db) or position_db == math.inf:
            raise SettingsError(
                f"{position_db} dB is no fader position. Check the feedback of the workstation."
            )
        self._add(_Event(_checked(time_s), position_db, True))

    def moved_by(self, time_s: float, change_db: float) -> None:
        """Adds a move by *change_db* at *time_s*, as a person reported it.

        Raises SettingsError for values that are no move.
        """
        if not math.isfinite(change_db):
            raise SettingsError(f"{change_db} dB is no fader move. Give it in dB, negative for down.")
        self._add(_Event(_checked(time_s), change_db, False))

    def position_db_at(self, time_s: float) -> float:
        """Returns the position in force at *time_s*, dB."""
        if not self._events or time_s >= self._events[-1].time_s:
            return float(self._positions.values[-1])
        return float(self._in_force(np.array(time_s)))

    def gains_db(self, first: int, blocks: int) -> Floats:
        """Returns the position in the middle of each 100 ms block from block *first* on, shape (blocks,)."""
        middles = np.arange(first, first + blocks, dtype=np.float64) + 0.5
        return self._in_force(middles * BLOCK_S)

    def _in_force(self, times_s: Floats) -> Floats:
        place = np.searchsorted(self._times.values, times_s, side="right")
        return np.asarray(self._positions.values[place])

    def _add(self, event: _Event) -> None:
        if not self._events or event.time_s >= self._events[-1].time_s:
            self._events.append(event)
            self._apply(event)
            return
        bisect.insort(self._events, event, key=lambda known: known.time_s)
        self._resolve()

    def _resolve(self) -> None:
        """Computes all positions again after an event came late."""
        self.is_absolute = False
        self._times, self._positions = Series(), Series()
        self._positions.append(np.zeros(1))
        for event in self._events:
            self._apply(event)

    def _apply(self, event: _Event) -> None:
        latest_db = float(self._positions.values[-1])
        if event.is_absolute and not self.is_absolute and math.isfinite(event.value_db):
            missing_db = event.value_db - latest_db if math.isfinite(latest_db) else 0.0
            self._positions.values[:] += missing_db
            self.is_absolute = True
        position_db = event.value_db if event.is_absolute else latest_db + event.value_db
        self._times.append(np.array([event.time_s]))
        self._positions.append(np.array([position_db]))


def _checked(time_s: float) -> float:
    if not math.isfinite(time_s):
        raise SettingsError(f"{time_s} s is no time of a fader move. Give seconds from 0 on.")
    return time_s
