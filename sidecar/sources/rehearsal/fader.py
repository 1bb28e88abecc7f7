"""The rehearsal's master fader: its position, and how it moves."""

from __future__ import annotations

import math

LOWEST_DB, HIGHEST_DB = -60.0, 10.0
"""Common practice of console faders, no source: +10 dB at the top; −60 dB represents the bottom."""

STEP_DB = 0.5
"""Farthest travel in one block of 100 ms: 5 dB a second, a hand that takes its time."""


class Fader:
    """Begins at *position_db*; sent somewhere from any thread, stepped by the one that plays."""

    def __init__(self, position_db: float = 0.0) -> None:
        self._goal_db = self._position_db = position_db

    @property
    def position_db(self) -> float:
        return self._position_db

    def move_to(self, gain_db: float) -> None:
        """Says where to go; a place beyond the ends means that end, not a number means stay."""
        if math.isnan(gain_db):
            return
        self._goal_db = float(min(max(gain_db, LOWEST_DB), HIGHEST_DB))

    def step(self) -> float:
        """Travels for one block and returns the fader position."""
        way_db = self._goal_db - self._position_db
        self._position_db += min(max(way_db, -STEP_DB), STEP_DB)
        return self._position_db
