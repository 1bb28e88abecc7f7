"""The verdict on a pass that is over, in words: the same on the screen and in the lines that stay."""

from __future__ import annotations

from collections.abc import Callable, Sequence
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


Loudness = Callable[[float], str]
"""Writes a loudness, given in LUFS, without its unit."""


def verdict_sentences(verdict: PassVerdict, unit: str, loudness: Loudness = figure) -> Sequence[str]:
    """Returns a sentence for each broken limit, or one on the nearest where all are kept.

    unit: LUFS or LKFS, as the goal writes it, or LU where *loudness* writes offsets from the goal.
    """
    if verdict.passes:
        return (_room(verdict.nearest, unit, loudness),)
    return tuple(_excess(limit, unit, loudness) for limit in verdict.broken)


def _excess(limit: CheckedLimit, unit: str, loudness: Loudness) -> str:
    if limit.name == "damage":
        return f"{limit.value:.0f} bad samples"
    if limit.name == "silent":
        return "silent: nothing to measure"
    side = "under" if limit.name == "quiet" else "over"
    bound = _bound(limit, unit, loudness)
    return f"{_reading(limit, loudness)}: {figure(limit.excess)} {_step(limit)} {side} {bound}"


def _room(limit: CheckedLimit, unit: str, loudness: Loudness) -> str:
    reading, bound = _reading(limit, loudness), _bound(limit, unit, loudness)
    if limit.excess == 0.0:
        return f"{reading}: just at {bound}"
    return f"{reading}: {figure(-limit.excess)} {_step(limit)} inside {bound}"


def _reading(limit: CheckedLimit, loudness: Loudness) -> str:
    write = figure if limit.name == "true peak" else loudness
    return f"{_MEASURES.get(limit.name, limit.name)} {write(limit.value)}"


def _step(limit: CheckedLimit) -> str:
    return "dB" if limit.name == "true peak" else "LU"


def _bound(limit: CheckedLimit, unit: str, loudness: Loudness) -> str:
    if limit.name == "true peak":
        return f"the limit {figure(limit.limit)} dBTP"
    return f"the limit {loudness(limit.limit)} {unit}"
