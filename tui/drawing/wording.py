"""How numbers are written: at most one decimal, and the unit always (EBU Tech 3341 §2.8)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from sidecar.loudness.limits import Side
from sidecar.model import units
from sidecar.model.units import NOTHING_DB, figure
from sidecar.settings.goals import Goal


@dataclass(frozen=True, slots=True)
class Sides:
    """How the three measures are coloured."""

    integrated: Side = "inside"
    short_term: Side = "inside"
    momentary: Side = "inside"


SHAPES: dict[str, str] = {
    **{"under": "◁", "inside": "◇", "over": "▷", "ceiling": "△"},
    **{"hot": "▲", "lost": "╳", "silent": "○"},
}
"""One shape a position and an alert, wherever it is shown."""


def alert_sign(name: str, *, letters: bool) -> str:
    """The shape of an alert; where a terminal shows ASCII alone, its letter."""
    return name[0].upper() if letters else SHAPES[name]


EBU_MODE_TARGET_LUFS = -23.0


def plain(value: float) -> str:
    """One decimal, a typeset minus, no sign on zero; dashes where there is nothing to show."""
    return figure(value) if math.isfinite(value) and value > NOTHING_DB else "−−.−"


def signed(value: float) -> str:
    """As :func:`plain`, with a plus on what is above zero."""
    text = plain(value)
    return f"+{text}" if math.isfinite(value) and round(value, 1) > 0.0 else text


def level(lufs: float, goal: Goal, *, relative: bool) -> str:
    """A loudness with its unit: LUFS (or LKFS), or LU relative to the goal's target."""
    if relative:
        return f"{signed(lufs - goal.target_lufs)} LU"
    return f"{plain(lufs)} {goal.unit}"


def bare_level(lufs: float, goal: Goal, *, relative: bool) -> str:
    """As :func:`level` without the unit, for rows whose unit is written once."""
    return level(lufs, goal, relative=relative).split(" ")[0]


def unit(goal: Goal, *, relative: bool) -> str:
    """The unit that :func:`level` writes."""
    return "LU" if relative else goal.unit


def in_unit(sentence: str, goal: Goal, *, relative: bool) -> str:
    """A sentence of the run, which writes loudness in the goal's unit, with each as :func:`level` has it."""
    if not relative:
        return sentence
    return re.sub(
        rf"(−?\d+\.\d) {goal.unit}\b",
        lambda found: level(float(found[1].replace("−", "-")), goal, relative=True),
        sentence,
    )


def clock(seconds: float) -> str:
    """m:ss, or h:mm:ss from an hour on."""
    return units.clock(seconds)


def clock_tenths(seconds: float) -> str:
    """As :func:`clock`, to the tenth that the history is kept in."""
    tenths = round(max(0.0, seconds) * 10.0)
    return f"{clock(tenths // 10)}.{tenths % 10}"


def time_of_day(seconds: float) -> str:
    """hh:mm:ss; days begin anew."""
    minutes, second = divmod(int(seconds) % 86_400, 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{second:02d}"


def rate(hertz: int) -> str:
    """48 kHz, 44.1 kHz; empty while unknown."""
    return f"{hertz / 1000:g} kHz" if hertz else ""


def count(number: int) -> str:
    """Thousands set apart, so that a long count reads at a glance."""
    return f"{number:,}".replace(",", " ")


def not_ebu_mode(goal: Goal) -> str:
    """What a meter set to another target has to say (EBU Tech 3341 §2); empty at −23 LUFS."""
    return "" if goal.target_lufs == EBU_MODE_TARGET_LUFS else "not EBU Mode"
