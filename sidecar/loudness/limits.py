"""The one rule for "passes": what a programme reads, held against its goal.

Every verdict follows it, of a file, of a pass, on the screen and in an alert: a figure and its limit are
compared as they are shown, rounded to one decimal (Tech 3341 §2.8), so that no two of them contradict each
other or what is read beside them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sidecar.model.readings import SILENCE, FloatArray, Reading
from sidecar.model.verdict import CheckedLimit, LimitName, PassVerdict
from sidecar.settings.goals import Goal

Side = Literal["under", "inside", "over"]
"""A value against what is allowed."""


def excess(value: float, limit: float) -> float:
    """How far *value* is over *limit*, dB or LU, both as shown (Tech 3341 §2.8); negative when under."""
    return round(round(value, 1) - round(limit, 1), 1)


def is_over(value: float, limit: float | None) -> bool:
    """Whether *value* is shown as higher than *limit*; nothing is over a limit that there is not."""
    return limit is not None and round(value, 1) > round(limit, 1)


def is_under(value: float, limit: float | None) -> bool:
    """Whether *value* is shown as lower than *limit*; nothing is under a limit that there is not."""
    return limit is not None and round(value, 1) < round(limit, 1)


def side_of(value: float, low: float | None, high: float | None) -> Side:
    """*value* against *low* … *high*, both included; None for no limit."""
    if is_under(value, low):
        return "under"
    return "over" if is_over(value, high) else "inside"


def are_over(values: FloatArray, limit: float) -> NDArray[np.bool_]:
    """As :func:`is_over`, of each value. Tenths in float32 are not those of float64: hence half a step."""
    return np.asarray(np.round(values, 1) - round(limit, 1) > 0.05)


def find_broken_limits(reading: Reading, goal: Goal) -> tuple[CheckedLimit, ...]:
    """The limits of *goal* that *reading* breaks; empty where it passes."""
    return tuple(_broken(reading, goal))


def broken_limits(reading: Reading, goal: Goal) -> tuple[LimitName, ...]:
    """As :func:`find_broken_limits`, a word each: for a list or a row of the screen."""
    return tuple(broken.name for broken in _broken(reading, goal))


def find_verdict(reading: Reading, goal: Goal) -> PassVerdict:
    """Returns whether *reading* passes *goal*, which limits it breaks, and which is the nearest."""
    checked = tuple(_checked(reading, goal))
    broken = tuple(limit for limit in checked if _is_broken(limit))
    return PassVerdict(broken, broken[0] if broken else max(checked, key=lambda limit: limit.excess))


def _broken(reading: Reading, goal: Goal) -> Iterator[CheckedLimit]:
    return filter(_is_broken, _checked(reading, goal))


def _is_broken(limit: CheckedLimit) -> bool:
    return limit.excess > 0.0 or limit.name in {"damage", "silent"}


def _checked(reading: Reading, goal: Goal) -> Iterator[CheckedLimit]:
    """Every limit that the goal sets; damage and silence only where they are there."""
    if reading.bad_samples:  # not numbers: each player makes something else of them
        yield CheckedLimit("damage", reading.bad_samples, 0.0, 0.0)
    integrated, lowest = reading.integrated, goal.lowest_lufs
    if integrated == SILENCE:
        yield CheckedLimit("silent", SILENCE, lowest, 0.0)
    elif lowest > SILENCE:
        yield CheckedLimit("quiet", integrated, lowest, -excess(integrated, lowest) + 0.0)
    maxima: tuple[tuple[LimitName, float, float | None], ...] = (
        ("loud", integrated, goal.highest_lufs),
        ("true peak", reading.max_true_peak, goal.ceiling_dbtp),
        ("short-term", reading.max_short_term, goal.max_short_term_lufs),
        ("momentary", reading.max_momentary, goal.max_momentary_lufs),
    )
    for name, value, limit in maxima:
        if limit is not None and value > SILENCE:
            yield CheckedLimit(name, value, limit, excess(value, limit))
