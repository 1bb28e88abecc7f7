"""Moves of several faders in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from sidecar.advice.programme.bootstrap import spread_lu
from sidecar.advice.stems.plans import Plan
from sidecar.advice.wording import change
from sidecar.model.readings import Move

_ROUNDING_LU = 0.15
"""Faders move in tenths: a plan this near to the exact move lands where that does."""


def landing_of(
    plan: Plan, missed_lu: float, whole: Move | None, land: Callable[[float], Move] | None
) -> tuple[float, float, float]:
    """Where the mix lands with *plan*, and the ends of its likely range.

    whole: the move of the master fader that *plan* makes; None where a whole pass is landed.
    missed_lu: by how much more *plan* changes the mix. land: the forecast of another master move.
    """
    if whole is None:
        landing = plan.gated.lufs
        low, high = spread_lu(plan.gated.powers)
        return landing, landing + low, landing + high
    if abs(missed_lu) < _ROUNDING_LU:
        return whole.landing, whole.landing_low, whole.landing_high
    if land is not None:
        found = land(round(whole.gain_db + missed_lu, 1))
        return found.landing, found.landing_low, found.landing_high
    return whole.landing + missed_lu, whole.landing_low + missed_lu, whole.landing_high + missed_lu


def moves_sentence(
    plan: Plan, names: Sequence[str], landing: tuple[float, float, float], why: str
) -> dict[str, Move]:
    """The moves of *plan* by name, each with the landing of all and the sentence for all."""
    parts = [f"{_headline(plan, names)}.", _LIMITS.get(plan.limited_by or "", ""), why]
    text = " ".join(part for part in parts if part)
    return {
        name: Move(float(change_db), *landing, plan.limited_by, text)
        for name, change_db, moves in zip(names, plan.changes_db, plan.moving, strict=True)
        if moves
    }


_LIMITS = {"step": "One step is enough for now.", "range": "The fader's range allows no more."}


def _headline(plan: Plan, names: Sequence[str]) -> str:
    moving = [name for name, moves in zip(names, plan.moving, strict=True) if moves]
    changes_db = plan.changes_db[plan.moving]
    if not plan.is_together or len(moving) == 1:
        return join_names(
            [_words(name, change_db) for name, change_db in zip(moving, changes_db, strict=True)]
        )
    furthest_db = float(changes_db[np.argmax(np.abs(changes_db))])
    return f"{_words(_whom(moving, names), furthest_db)} together"


def _whom(moving: Sequence[str], names: Sequence[str]) -> str:
    """The shorter way to name those who move: themselves, or all but the rest."""
    rest = [name for name in names if name not in moving]
    if not rest:
        return "Everything"
    return join_names(moving) if len(moving) <= len(rest) else f"Everything but {join_names(rest)}"


def _words(name: str, change_db: float) -> str:
    return f"{name} stays" if change_db == 0.0 else f"{name} {change(change_db).lower()}".replace("db", "dB")


def join_names(parts: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
