"""Moves of several faders in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sidecar.advice.programme.bootstrap import spread_lu
from sidecar.advice.stems.plans import Plan
from sidecar.advice.wording import change, level
from sidecar.model.readings import Move
from sidecar.settings.goals import Goal


def moves_sentence(plan: Plan, names: Sequence[str], goal: Goal, note: str) -> dict[str, Move]:
    """The moves of *plan* by name, each with the landing of all and the sentence for all."""
    landing = plan.gated.lufs
    low, high = spread_lu(plan.gated.powers)
    reason = f"{_headline(plan, names)}: the mix then lands at {level(landing, goal)}."
    parts = [reason, _LIMITS.get(plan.limited_by or "", ""), note]
    text = " ".join(part for part in parts if part)
    return {
        name: Move(float(change_db), landing, landing + low, landing + high, plan.limited_by, text)
        for name, change_db, moves in zip(names, plan.changes_db, plan.moving, strict=True)
        if moves
    }


_LIMITS = {"step": "One step is enough for now.", "range": "The fader's range allows no more."}


def _headline(plan: Plan, names: Sequence[str]) -> str:
    moving = [name for name, moves in zip(names, plan.moving, strict=True) if moves]
    changes_db = plan.changes_db[plan.moving]
    if not plan.is_together or len(moving) == 1:
        return _join([_words(name, change_db) for name, change_db in zip(moving, changes_db, strict=True)])
    furthest_db = float(changes_db[np.argmax(np.abs(changes_db))])
    return f"{_words(_whom(moving, names), furthest_db)} together"


def _whom(moving: Sequence[str], names: Sequence[str]) -> str:
    """The shorter way to name those who move: themselves, or all but the rest."""
    rest = [name for name in names if name not in moving]
    if not rest:
        return "Everything"
    return _join(moving) if len(moving) <= len(rest) else f"Everything but {_join(rest)}"


def _words(name: str, change_db: float) -> str:
    return f"{name} stays" if change_db == 0.0 else f"{name} {change(change_db).lower()}".replace("db", "dB")


def _join(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
