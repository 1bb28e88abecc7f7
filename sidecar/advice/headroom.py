"""What the true-peak ceiling leaves of a move."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from sidecar.advice.wording import ceiling, change, level
from sidecar.goals import Goal
from sidecar.vocabulary import Move, figure

_ROUNDING = 1e-9
"""dB by which a sum of floats may miss a ceiling that it meets."""


def under_ceiling(move: Move, landing_at: Callable[[float], float], peak_dbtp: float, goal: Goal) -> Move:
    """*move*, cut so that it raises no peak over the ceiling, and saying what the peaks need.

    landing_at: the loudness that a gain in dB lands on.
    peak_dbtp: the highest true peak with the fader where it stands; ``-inf`` when unknown.
    """
    excess_db = peak_dbtp + move.gain_db - goal.ceiling_dbtp
    if excess_db <= _ROUNDING:
        return move
    off_db = math.ceil(excess_db * 10.0 - _ROUNDING) / 10.0
    if move.gain_db > 0.0:
        return _raised_less(move, landing_at, goal.ceiling_dbtp - peak_dbtp, off_db, goal)
    move = _lowered_for_both(move, landing_at, off_db, goal)
    off_db = max(math.ceil((peak_dbtp + move.gain_db - goal.ceiling_dbtp) * 10.0 - _ROUNDING) / 10.0, 0.0)
    if off_db == 0.0:
        return move
    return replace(move, limited_by="ceiling", reason=_too_high(move, off_db, goal))


def _raised_less(
    move: Move, landing_at: Callable[[float], float], room_db: float, off_db: float, goal: Goal
) -> Move:
    gain_db = max(math.floor(room_db * 10.0 + _ROUNDING) / 10.0, 0.0)
    first = f"take {figure(off_db)} dB off the peaks first to land at {level(move.landing, goal)}."
    if gain_db > 0.0:
        reason = f"{change(gain_db)} is all that the {ceiling(goal)} ceiling allows: {first}"
    else:
        reason = f"{change(move.gain_db)} is wanted, but peaks reach the {ceiling(goal)} ceiling: {first}"
    return replace(move, gain_db=gain_db, landing=landing_at(gain_db), limited_by="ceiling", reason=reason)


def _lowered_for_both(move: Move, landing_at: Callable[[float], float], off_db: float, goal: Goal) -> Move:
    """What lands over the goal all the same needs no cure but the fader for its peaks: lowered by
    *off_db*, or as far as the target allows."""
    lower_by_db = 0.0
    while (
        lower_by_db < off_db - _ROUNDING and landing_at(move.gain_db - lower_by_db - 0.1) >= goal.target_lufs
    ):
        lower_by_db = round(lower_by_db + 0.1, 1)
    if lower_by_db == 0.0 or move.landing <= goal.highest_lufs:
        return move
    gain_db = round(move.gain_db - lower_by_db, 1)
    landing = landing_at(gain_db)
    over = f", still over {level(goal.highest_lufs, goal)}" if landing > goal.highest_lufs else ""
    reason = f"{change(gain_db)}: loudness and peaks ask for it; it heads for {level(landing, goal)}{over}."
    return replace(move, gain_db=gain_db, landing=landing, limited_by="ceiling", reason=reason)


def _too_high(move: Move, off_db: float, goal: Goal) -> str:
    off = f"peaks still pass {ceiling(goal)}: take {figure(off_db)} dB off them."
    if not goal.lowest_lufs <= move.landing <= goal.highest_lufs:
        return f"{move.reason} Also, {off}"
    if move.gain_db < 0.0:
        return f"{change(move.gain_db)} lands at {level(move.landing, goal)}, but {off}"
    return f"Loudness is right at {level(move.landing, goal)}, but {off}"
