"""The sentences of a move: one line each, one decimal, the unit always there (Tech 3341 §2.8)."""

from __future__ import annotations

from sidecar.model.units import figure
from sidecar.settings.goals import Goal


def change(gain_db: float) -> str:
    """``Up 1.2 dB`` or ``Down 1.2 dB``."""
    return f"{'Up' if gain_db > 0.0 else 'Down'} {figure(abs(gain_db))} dB"


def level(lufs: float, goal: Goal) -> str:
    """A loudness in the goal's unit."""
    return f"{figure(lufs)} {goal.unit}"


def ceiling(goal: Goal) -> str:
    """The ceiling of the goal."""
    return f"{figure(goal.ceiling_dbtp)} dBTP"
