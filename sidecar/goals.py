"""Delivery goals: what a programme must measure to be accepted."""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from sidecar.errors import SettingsError
from sidecar.locations import own_configs, shipped_configs


@dataclass(frozen=True, slots=True)
class Goal:
    """A delivery goal. Optional limits are None where the goal's document sets none."""

    name: str
    """Short name, the file's stem: what ``--goal`` takes."""
    title: str
    target_lufs: float
    tolerance_below_lu: float
    """How far under the target still passes; ``inf`` when only the upper side is limited."""
    tolerance_above_lu: float
    ceiling_dbtp: float
    hot_lufs: float
    """The hot line: short-term above it for ``hot_hold_s`` raises the alert ``hot``."""
    hot_hold_s: float = 1.0
    max_short_term_lufs: float | None = None
    max_momentary_lufs: float | None = None
    range_guide_lu: float | None = None
    """Guidance for the loudness range, never a reason to fail (Tech 3343 §3.3)."""
    unit: Literal["LUFS", "LKFS"] = "LUFS"
    source: str = ""
    """The document that the figures come from."""

    @property
    def lowest_lufs(self) -> float:
        """The lowest integrated loudness that passes."""
        return self.target_lufs - self.tolerance_below_lu

    @property
    def highest_lufs(self) -> float:
        """The highest integrated loudness that passes."""
        return self.target_lufs + self.tolerance_above_lu


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
_TOLERANCE_LU = (0.0, 20.0)
_UNITS: tuple[Literal["LUFS", "LKFS"], ...] = ("LUFS", "LKFS")

_REQUIRED = ("title", "target_lufs", "tolerance_lu", "ceiling_dbtp", "hot_lufs", "source")
_OPTIONAL = ("hot_hold_s", "max_short_term_lufs", "max_momentary_lufs", "range_guide_lu", "unit")


def load_goal(name_or_path: str | Path) -> Goal:
    """The goal of this name, or the one in this file (a Path, or text with a separator or ``.toml``).

    Raises SettingsError when there is no such goal, or its file cannot be read or used.
    """
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text or os.sep in text:
        return _read(Path(name_or_path))
    return goal_named(text)


def goal_named(name: str) -> Goal:
    """The goal of this name, the person's own before a shipped one. Never takes a path, so it is safe
    with names that come over the network.

    Raises SettingsError when there is no such goal, or its file cannot be read or used.
    """
    files = _files()
    if name in files:
        return _read(files[name])
    raise SettingsError(
        f"There is no goal {name!r}.{_nearest(name, files)} There are: {', '.join(files)}. "
        f"Your own go into {own_configs() / 'goals'}, one file each, as NAME.toml."
    )


def all_goals() -> list[Goal]:
    """Every goal that can be used, by name; one of the person's own replaces a shipped one of its name.

    A file that cannot be used is left out, and so is the shipped goal it was to replace: figures that
    somebody meant to change must not come back unseen. :func:`goal_faults` says what is wrong.
    """
    return _read_all()[0]


def goal_faults() -> list[SettingsError]:
    """What is wrong with each goal file that :func:`all_goals` leaves out."""
    return _read_all()[1]


def _read_all() -> tuple[list[Goal], list[SettingsError]]:
    goals: list[Goal] = []
    faults: list[SettingsError] = []
    for path in _files().values():
        try:
            goals.append(_read(path))
        except SettingsError as fault:
            faults.append(fault)
    return goals, faults


def _files() -> dict[str, Path]:
    """Goal files by name, in the order of the names; the later folder wins."""
    folders = (shipped_configs() / "goals", own_configs() / "goals")
    found = {path.stem: path for folder in folders for path in folder.glob("[!.]*.toml")}
    return dict(sorted(found.items()))


def _read(path: Path) -> Goal:
    try:
        # Editors on some systems put a byte-order mark in front, which TOML does not know.
        table = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise SettingsError(
            f"{path}: cannot be read ({error.strerror}). Check that the file is there and open to you."
        ) from error
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path}: not UTF-8 text (byte {error.start}). Save it as UTF-8.") from error
    except (ValueError, RecursionError) as error:
        raise SettingsError(f"{path}: not valid TOML: {error}. Correct that place.") from error
    return _goal(path, table)


def _goal(path: Path, table: dict[str, Any]) -> Goal:
    for key in table:
        if key not in _REQUIRED + _OPTIONAL:
            allowed = ", ".join(_REQUIRED + _OPTIONAL)
            near = _nearest(key, _REQUIRED + _OPTIONAL)
            raise SettingsError(f"{path}: a goal has no key {key!r}.{near} The keys are: {allowed}.")
    for key in _REQUIRED:
        if key not in table:
            raise SettingsError(f"{path}: {key} is missing. A goal needs: {', '.join(_REQUIRED)}.")

    below_lu, above_lu = _tolerance(path, table["tolerance_lu"])
    goal = Goal(
        name=path.stem,
        title=_line(path, "title", table["title"]),
        tolerance_below_lu=below_lu,
        tolerance_above_lu=above_lu,
        unit=_unit(path, table.get("unit", "LUFS")),
        source=_line(path, "source", table["source"]),
        **{key: _number(path, key, table[key], *bounds) for key, bounds in _RANGES.items() if key in table},
    )
    _refuse_contradictions(path, goal)
    return goal


def _number(path: Path, key: str, value: Any, low: float, high: float) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and low <= value <= high:  # false for nan
        return float(value)
    raise _unusable(path, key, value, f"a number from {low:g} to {high:g}")


def _tolerance(path: Path, value: Any) -> tuple[float, float]:
    """How far below and above the target, LU."""
    if not isinstance(value, dict):
        both_lu = _number(path, "tolerance_lu", value, *_TOLERANCE_LU)
        return both_lu, both_lu
    if value.keys() != {"below", "above"}:
        raise _unusable(path, "tolerance_lu", value, "one number or { below = …, above = … }")
    low, high = _TOLERANCE_LU
    below_lu = _number(path, "tolerance_lu.below", value["below"], low, math.inf)  # inf: "at most" the target
    return below_lu, _number(path, "tolerance_lu.above", value["above"], low, high)


def _line(path: Path, key: str, value: Any) -> str:
    if isinstance(value, str) and value.strip() and value.isprintable():
        return value
    raise _unusable(path, key, value, "one line of text")


def _unit(path: Path, value: Any) -> Literal["LUFS", "LKFS"]:
    for unit in _UNITS:
        if value == unit:
            return unit
    raise _unusable(path, "unit", value, f"one of {', '.join(_UNITS)}")


def _refuse_contradictions(path: Path, goal: Goal) -> None:
    """Limits that a programme on target would break, and a warning that comes after the limit."""
    above_target = f"above target_lufs ({goal.target_lufs:g})"
    for key in ("hot_lufs", "max_short_term_lufs", "max_momentary_lufs"):
        limit = getattr(goal, key)
        if limit is not None and limit <= goal.target_lufs:
            raise _unusable(path, key, limit, above_target)
    if goal.max_short_term_lufs is not None and goal.hot_lufs > goal.max_short_term_lufs:
        allowed = f"at most max_short_term_lufs ({goal.max_short_term_lufs:g}), to warn before it is broken"
        raise _unusable(path, "hot_lufs", goal.hot_lufs, allowed)


def _unusable(path: Path, key: str, value: Any, allowed: str) -> SettingsError:
    return SettingsError(f"{path}: {key} is {value!r}; it must be {allowed}.")


def _nearest(word: str, known: Iterable[str]) -> str:
    """`` Did you mean …?``, or nothing when no known word is close."""
    import difflib

    near = difflib.get_close_matches(word.casefold(), known, n=1)
    return f" Did you mean {near[0]}?" if near else ""
