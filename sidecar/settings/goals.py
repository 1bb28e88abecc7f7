"""Delivery goals: what a programme must measure to be accepted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from sidecar.errors import SettingsError
from sidecar.settings import toml
from sidecar.settings.delivery_rules import DeliveryRules, rules_from
from sidecar.settings.toml import line, number, unusable, word

USUAL_GOAL = "r128"
"""The goal of a command to which none is given."""
_DIGITS = 6
"""A sum of decimal figures as a person would reckon it: without it, -23.1 + 0.8 is no longer -22.3."""


@dataclass(frozen=True, slots=True)
class Goal:
    """A delivery goal. Optional limits are None where the goal's document sets none.

    :func:`load_goal` refuses figures that contradict each other; a goal that is made, or changed with
    :func:`dataclasses.replace`, is taken as it is.
    """

    name: str
    """Short name, the file's stem: what ``--goal`` takes."""
    title: str
    """What people call it, one line."""
    target_lufs: float
    """The integrated loudness to land on."""
    tolerance_below_lu: float
    """How far under the target still passes; ``inf`` when only the upper side is limited."""
    tolerance_above_lu: float
    """How far over the target still passes."""
    ceiling_dbtp: float
    """The highest true peak that passes."""
    hot_lufs: float
    """The hot line: short-term above it for ``hot_hold_s`` raises the alert ``hot``."""
    hot_hold_s: float = 1.0
    """Seconds."""
    max_short_term_lufs: float | None = None
    """The highest short-term loudness that passes."""
    max_momentary_lufs: float | None = None
    """The highest momentary loudness that passes."""
    range_guide_lu: float | None = None
    """Guidance for the loudness range, never a reason to fail (Tech 3343 §3.3)."""
    least_dialogue_lufs: float | None = None
    """Guidance for the dialogue loudness, never a reason to fail: the softest that is wanted."""
    most_dialogue_lufs: float | None = None
    """And the loudest."""
    ldr_guide_lu: float | None = None
    """Guidance for the loudness-to-dialogue ratio, the programme loudness less the dialogue loudness: the
    highest that is wanted, never a reason to fail."""
    unit: Literal["LUFS", "LKFS"] = "LUFS"
    """How the goal's document writes the unit; both are the same."""
    source: str = ""
    """The document that the figures come from."""
    delivery: DeliveryRules | None = None
    """What a file must be besides; None where the goal does not say. A pass, which is no file yet, is not
    held against it."""

    @property
    def lowest_lufs(self) -> float:
        """The lowest integrated loudness that passes."""
        return round(self.target_lufs - self.tolerance_below_lu, _DIGITS)

    @property
    def highest_lufs(self) -> float:
        """The highest integrated loudness that passes."""
        return round(self.target_lufs + self.tolerance_above_lu, _DIGITS)


# Lowest and highest value that a key may have. Ours: they catch slips, they are no rule of delivery.
_RANGES: dict[str, tuple[float, float]] = {
    "target_lufs": (-70.0, 0.0),  # BS.1770-5 Annex 1: below -70 LUFS nothing is counted
    "ceiling_dbtp": (-20.0, 0.0),
    "hot_lufs": (-70.0, 0.0),
    "hot_hold_s": (0.0, 60.0),
    "max_short_term_lufs": (-70.0, 0.0),
    "max_momentary_lufs": (-70.0, 0.0),
    "range_guide_lu": (0.0, 70.0),
}
_LDR_LU = (-20.0, 40.0)
_TOLERANCE_LU = (0.0, 20.0)
_UNITS: tuple[Literal["LUFS", "LKFS"], ...] = ("LUFS", "LKFS")

_REQUIRED = ("title", "target_lufs", "tolerance_lu", "ceiling_dbtp", "hot_lufs", "source")
_OPTIONAL = (
    *("hot_hold_s", "max_short_term_lufs", "max_momentary_lufs", "range_guide_lu", "dialogue_lufs", "ldr_lu"),
    *("unit", "delivery"),
)


def load_goal(name_or_path: str | Path) -> Goal:
    """The goal of this name, or the one in this file.

    Parameters
    ----------
    name_or_path
        A name such as ``"r128"``, a person's own goal before a shipped one (:func:`all_goals` lists them);
        or a file: a Path, or text with a separator or ``.toml``. For names that come over a network, where
        no file may be opened, use ``goal_named`` of this module.

    Returns
    -------
    Goal
        Checked, with figures that do not contradict each other.

    Raises
    ------
    SettingsError
        There is no such goal, or its file cannot be read or used; the message names the key.
    """
    return _read(toml.find("goal", name_or_path))


def goal_named(name: str) -> Goal:
    """The goal of this name, the person's own before a shipped one. Never takes a path, so it is safe
    with names that come over the network.

    Raises SettingsError when there is no such goal, or its file cannot be read or used.
    """
    return _read(toml.find_named("goal", name))


def all_goals() -> list[Goal]:
    """Returns every goal that can be used; one of the person's own replaces a shipped one of its name.

    A file that cannot be used is left out, and so is the shipped goal it was to replace: figures that
    were meant to be changed must not come back unseen. :func:`goal_faults` says what is wrong.

    Returns
    -------
    list[Goal]
        In the order of their names.
    """
    return toml.load_all("goal", _read)[0]


def goal_faults() -> list[SettingsError]:
    """What is wrong with each goal file that :func:`all_goals` leaves out."""
    return toml.load_all("goal", _read)[1]


def _read(path: Path) -> Goal:
    table = toml.read("goal", path, _REQUIRED, _OPTIONAL)
    below_lu, above_lu = _tolerance(path, table["tolerance_lu"])
    least_lufs, most_lufs = _dialogue(path, table.get("dialogue_lufs"))
    goal = Goal(
        name=path.stem,
        title=line(path, "title", table["title"]),
        tolerance_below_lu=below_lu,
        tolerance_above_lu=above_lu,
        least_dialogue_lufs=least_lufs,
        most_dialogue_lufs=most_lufs,
        ldr_guide_lu=number(path, "ldr_lu", table["ldr_lu"], *_LDR_LU) if "ldr_lu" in table else None,
        unit=word(path, "unit", table.get("unit", "LUFS"), _UNITS),
        source=line(path, "source", table["source"]),
        delivery=rules_from(path, table["delivery"]) if "delivery" in table else None,
        **{key: number(path, key, table[key], *bounds) for key, bounds in _RANGES.items() if key in table},
    )
    _refuse_contradictions(path, goal)
    return goal


def _tolerance(path: Path, value: Any) -> tuple[float, float]:
    """How far below and above the target, LU."""
    if not isinstance(value, dict):
        both_lu = number(path, "tolerance_lu", value, *_TOLERANCE_LU)
        return both_lu, both_lu
    if value.keys() != {"below", "above"}:
        raise unusable(path, "tolerance_lu", value, "one number or { below = …, above = … }")
    low, high = _TOLERANCE_LU
    below_lu = number(path, "tolerance_lu.below", value["below"], low, math.inf)  # inf: "at most" the target
    return below_lu, number(path, "tolerance_lu.above", value["above"], low, high)


def _dialogue(path: Path, value: Any) -> tuple[float | None, float | None]:
    """The softest and the loudest dialogue that is wanted, LUFS."""
    if value is None:
        return None, None
    if not isinstance(value, dict) or not value or not value.keys() <= {"least", "most"}:
        raise unusable(path, "dialogue_lufs", value, "{ least = …, most = … }, or one of the two")
    low, high = _RANGES["target_lufs"]
    least, most = (
        number(path, f"dialogue_lufs.{key}", value[key], low, high) if key in value else None
        for key in ("least", "most")
    )
    if least is not None and most is not None and least > most:
        raise unusable(path, "dialogue_lufs.least", least, f"at most dialogue_lufs.most ({most:g})")
    return least, most


def _refuse_contradictions(path: Path, goal: Goal) -> None:
    """Limits that a programme on target would break, and a warning that comes after the limit."""
    above_target = f"above target_lufs ({goal.target_lufs:g})"
    for key in ("hot_lufs", "max_short_term_lufs", "max_momentary_lufs"):
        limit = getattr(goal, key)
        if limit is not None and limit <= goal.target_lufs:
            raise unusable(path, key, limit, above_target)
    if goal.max_short_term_lufs is not None and goal.hot_lufs > goal.max_short_term_lufs:
        allowed = f"at most max_short_term_lufs ({goal.max_short_term_lufs:g}), to warn before it is broken"
        raise unusable(path, "hot_lufs", goal.hot_lufs, allowed)
