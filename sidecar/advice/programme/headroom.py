"""What the true-peak ceiling leaves of a move."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import takewhile

from sidecar.advice.wording import ceiling, change, level
from sidecar.model.readings import Move
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

_ROUNDING = 1e-9
"""dB by which a sum of floats may miss a ceiling that it meets."""


def under_ceiling(move: Move, landing_at: Callable[[float], float], peak_dbtp: float, goal: Goal) -> Move:
    """*move*, cut so that it raises no peak over the ceiling, and saying what the peaks need.

    landing_at: the loudness that a gain in dB lands on.
    peak_dbtp: the highest true peak at the present fader position; ``-inf`` when unknown.
    """
    room_db = goal.ceiling_dbtp - peak_dbtp
    if move.gain_db - room_db <= _ROUNDING:
        return move
    if move.gain_db > 0.0:
        return _raised_less(move, landing_at, room_db, goal)
    if move.landing > goal.highest_lufs:
        move = _lowered_for_both(move, landing_at, room_db, goal)
    off_db = _off_db(move, room_db)
    if off_db <= 0.0:
        return move
    return replace(move, limited_by="ceiling", reason=_too_high(move, off_db, goal))


def _off_db(move: Move, room_db: float) -> float:
    """What the peaks have too much once *move* is made, in whole tenths; not positive where they fit."""
    return math.ceil((move.gain_db - room_db) * 10.0 - _ROUNDING) / 10.0


def _raised_less(move: Move, landing_at: Callable[[float], float], room_db: float, goal: Goal) -> Move:
    gain_db = max(math.floor(room_db * 10.0 + _ROUNDING) / 10.0, 0.0)
    off_db = _off_db(move, room_db)
    first = f"take {figure(off_db)} dB off the peaks first to land at {level(move.landing, goal)}."
    if gain_db > 0.0:
        reason = f"{change(gain_db)} is all that the {ceiling(goal)} ceiling allows: {first}"
    else:
        reason = f"{change(move.gain_db)} is wanted, but peaks reach the {ceiling(goal)} ceiling: {first}"
    return replace(move, gain_db=gain_db, landing=landing_at(gain_db), limited_by="ceiling", reason=reason)


def _lowered_for_both(move: Move, landing_at: Callable[[float], float], room_db: float, goal: Goal) -> Move:
    """What lands over the goal all the same needs no cure but the fader for its peaks: lowered until they
    fit, or as far as the target allows."""
    tenths = range(1, round(_off_db(move, room_db) * 10.0) + 1)
    lower = takewhile(
        lambda gain_db: landing_at(gain_db) >= goal.target_lufs,
        (round(move.gain_db - tenth / 10.0, 1) for tenth in tenths),
    )
    gain_db = min(lower, default=move.gain_db)
    if gain_db == move.gain_db:
        return move
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
