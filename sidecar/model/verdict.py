"""The verdict on a pass that is over, in words: the same on the screen and in the lines that stay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sidecar.model.units import figure

LimitName = Literal["damage", "silent", "quiet", "loud", "true peak", "short-term", "momentary"]


@dataclass(frozen=True, slots=True)
class CheckedLimit:
    """One limit, and what was read against it."""

    name: LimitName
    value: float
    """What was read, in the unit of the limit; of damage the number of samples that are not numbers."""
    limit: float
    excess: float
    """How far the value is on the wrong side of the limit, dB or LU, both as shown; negative while it is
    kept."""


@dataclass(frozen=True, slots=True)
class PassVerdict:
    """What a reading comes to against a goal."""

    broken: tuple[CheckedLimit, ...]
    """The limits that it breaks; empty where it passes."""
    nearest: CheckedLimit
    """The limit with the least room, where it passes; else the first that is broken."""

    @property
    def passes(self) -> bool:
        return not self.broken


_MEASURES: dict[LimitName, str] = {"quiet": "integrated", "loud": "integrated"}


def verdict_sentences(verdict: PassVerdict, unit: str) -> Sequence[str]:
    """Returns a sentence for each broken limit, or one on the nearest where all are kept.

    unit: LUFS or LKFS, as the goal writes it.
    """
    if verdict.passes:
        return (_room(verdict.nearest, unit),)
    return tuple(_excess(limit, unit) for limit in verdict.broken)


def _excess(limit: CheckedLimit, unit: str) -> str:
    if limit.name == "damage":
        return f"{limit.value:.0f} bad samples"
    if limit.name == "silent":
        return "silent: nothing to measure"
    side = "under" if limit.name == "quiet" else "over"
    return f"{_reading(limit)}: {figure(limit.excess)} {_step(limit)} {side} {_bound(limit, unit)}"


def _room(limit: CheckedLimit, unit: str) -> str:
    if limit.excess == 0.0:
        return f"{_reading(limit)}: just at {_bound(limit, unit)}"
    side = "over" if limit.name == "quiet" else "under"
    return f"{_reading(limit)}: {figure(-limit.excess)} {_step(limit)} {side} {_bound(limit, unit)}"


def _reading(limit: CheckedLimit) -> str:
    return f"{_MEASURES.get(limit.name, limit.name)} {figure(limit.value)}"


def _step(limit: CheckedLimit) -> str:
    return "dB" if limit.name == "true peak" else "LU"


def _bound(limit: CheckedLimit, unit: str) -> str:
    return f"the limit {figure(limit.limit)} {'dBTP' if limit.name == 'true peak' else unit}"
