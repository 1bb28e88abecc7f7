"""The gains that bring a set of files to one loudness, each by itself or all as one sequence.

A finished programme is moved by one static gain, target minus loudness (Tech 3343 §3.1): a gain of g dB
moves loudness and true peak by g. Upwards it goes no further than the goal's limits allow.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from sidecar.goals import Goal
from sidecar.vocabulary import SILENCE, Reading, figure

Bound = Literal["ceiling", "short-term", "momentary"]

_WIDE_LU = 5.0  # ours: ranges that far apart are heard as different dynamics


@dataclass(frozen=True, slots=True)
class Level:
    """The gain for one file, and where the file stands after it."""

    gain_db: float
    """A whole number of hundredths: what is shown is what is done."""
    landing: float
    """LUFS; ``-inf`` for a silent file."""
    true_peak: float
    """dBTP."""
    wanted_db: float
    """The gain that reaches the target."""
    limited_by: Bound | None = None
    """What kept the gain from being what was wanted."""
    limiting: int = 0
    """The place in the set of the file in which that limit is reached."""
    over_db: float = 0.0
    """By how much that limit would be broken at the wanted gain."""


def match_singly(readings: Sequence[Reading], goal: Goal, target_lufs: float) -> list[Level | None]:
    """Each to the target; None for a file without loudness."""
    levels = []
    for place, reading in enumerate(readings):
        gain = _gain([(place, reading)], goal, target_lufs)
        levels.append(None if gain is None else _after(reading, gain))
    return levels


def match_sequence(readings: Sequence[Reading], goal: Goal, target_lufs: float) -> list[Level | None]:
    """One gain for all, so that the balance between them stays and the loudest lands on the target.

    None for each where all are silent. Source: AES TD1008 levels an album by its loudest track (secondary).
    """
    gain = _gain(list(enumerate(readings)), goal, target_lufs)
    return [None if gain is None else _after(reading, gain) for reading in readings]


def dynamics(readings: Sequence[Reading], unit_target: str) -> str:
    """A sentence where loudness ranges differ so much that one loudness will not sound alike; else empty.

    EBU R 128 V5 n) note 2: a range of less than a minute of programme says nothing.
    """
    ranges = [reading.loudness_range for reading in readings if reading.range_is_stable]
    if not ranges or max(ranges) - min(ranges) < _WIDE_LU:
        return ""
    return (
        f"Loudness ranges run from {figure(min(ranges))} to {figure(max(ranges))} LU: at {unit_target} the "
        "wide ones still have softer and louder places than the narrow ones. Judge those by ear."
    )


def limit_sentence(level: Level, goal: Goal, target_lufs: float, limiting: str) -> str:
    """Which limit kept the gain down, and the way out; empty where none did.

    limiting: the name of the file in which the limit is reached.
    """
    if level.limited_by is None:
        return ""
    measure, passages = _LIMITS[level.limited_by]
    room = f"leaves {signed(level.gain_db)} dB" if level.gain_db else "leaves no room"
    return (
        f"{signed(level.wanted_db)} dB would reach {figure(target_lufs)} {goal.unit}, but the {measure} of "
        f"{limiting} {room} under {_limit_words(level.limited_by, goal)}. Bring {passages} down by "
        f"{figure(level.over_db)} dB first to reach it."
    )


def peak_sentence(level: Level, goal: Goal) -> str:
    """How far the true peak is over the ceiling then; empty where it passes."""
    over = over_ceiling_db(level, goal)
    if over <= 0:
        return ""
    return (
        f"Its true peak stands at {figure(level.true_peak)} dBTP then, {figure(over)} dB over the ceiling of "
        f"{figure(goal.ceiling_dbtp)} dBTP."
    )


def over_ceiling_db(level: Level, goal: Goal) -> float:
    """How far the true peak is over the ceiling then, as shown; at most 0 where it passes."""
    return round(round(level.true_peak, 1) - goal.ceiling_dbtp, 1)


def signed(gain_db: float) -> str:
    """A gain as it is shown and done: hundredths, its sign, a printed minus."""
    return f"{gain_db:+.2f}".replace("-", "−") if gain_db else "0.00"


@dataclass(frozen=True, slots=True)
class _Gain:
    gain_db: float
    wanted_db: float
    limited_by: Bound | None = None
    limiting: int = 0
    over_db: float = 0.0


_LIMITS: dict[Bound, tuple[str, str]] = {
    "ceiling": ("true peak", "the peaks"),
    "short-term": ("highest short-term loudness", "the loudest passages"),
    "momentary": ("highest momentary loudness", "the loudest passages"),
}


def _gain(placed: Sequence[tuple[int, Reading]], goal: Goal, target_lufs: float) -> _Gain | None:
    loudest = max((reading.integrated for _, reading in placed), default=SILENCE)
    if loudest == SILENCE:
        return None
    wanted = round(target_lufs - loudest, 2) + 0.0  # never a minus zero
    if wanted <= 0.0:
        return _Gain(wanted, wanted)
    room, bound, place = min(
        (_hundredths_down(limit - value), bound, place)
        for place, reading in placed
        for bound, value, limit in _bounds(reading, goal)
    )
    if room >= wanted:
        return _Gain(wanted, wanted)
    return _Gain(max(0.0, room), wanted, bound, place, round(wanted - room, 2))


def _bounds(reading: Reading, goal: Goal) -> Iterator[tuple[Bound, float, float]]:
    """(limit, what was measured, the highest that passes) of each limit that the goal has."""
    yield "ceiling", reading.max_true_peak, goal.ceiling_dbtp
    if goal.max_short_term_lufs is not None:
        yield "short-term", reading.max_short_term, goal.max_short_term_lufs
    if goal.max_momentary_lufs is not None:
        yield "momentary", reading.max_momentary, goal.max_momentary_lufs


def _hundredths_down(room_db: float) -> float:
    return math.floor(room_db * 100.0 + 1e-6) / 100.0 if math.isfinite(room_db) else room_db


def _after(reading: Reading, gain: _Gain) -> Level:
    return Level(
        gain.gain_db,
        reading.integrated + gain.gain_db,
        reading.max_true_peak + gain.gain_db,
        gain.wanted_db,
        gain.limited_by,
        gain.limiting,
        gain.over_db,
    )


def _limit_words(bound: Bound, goal: Goal) -> str:
    if bound == "ceiling":
        return f"the ceiling of {figure(goal.ceiling_dbtp)} dBTP"
    limit = goal.max_short_term_lufs if bound == "short-term" else goal.max_momentary_lufs
    return f"the limit of {figure(limit or 0.0)} {goal.unit}"
