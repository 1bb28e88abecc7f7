"""The gains that bring a set of files to one loudness, each by itself or all as one sequence.

A finished programme is moved by one static gain (Tech 3343 §3.1). A gain of g dB moves true peak, momentary
and short-term loudness by g; integrated loudness too, except where it carries blocks across the gate at
−70 LUFS, which moves the relative gate: so landings are worked out from the blocks, with both gates set anew.
Upwards a gain goes no further than the goal's limits allow.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.whole_file import Measured
from sidecar.loudness.gating import Part, Powers, gated_loudness, gating_powers
from sidecar.model.readings import SILENCE, Reading, figure
from sidecar.settings.goals import Goal

Bound = Literal["ceiling", "short-term", "momentary"]

_TRIED_DB = np.arange(-2000, 2001) / 100.0
"""Gains around target minus loudness among which the best is looked for."""
_ALIKE_LU = 0.005
_WIDE_LU = 5.0  # ours: ranges that far apart are heard as different dynamics


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """What is to be known about one file of a set."""

    reading: Reading
    powers: Powers
    """Its gating blocks."""

    @classmethod
    def of(cls, measured: Measured) -> Piece:
        """A measured file."""
        return cls(measured.reading, Powers(gating_powers(measured.course.energy)))

    def loudness_at(self, gain_db: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Integrated loudness at a gain, LUFS, in the shape of *gain_db*; ``-inf`` for silence."""
        return gated_loudness([Part(self.powers, gain_db)])


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


def match_singly(pieces: Sequence[Piece], goal: Goal, target_lufs: float) -> list[Level | None]:
    """Each to the target; None for a file without loudness."""
    levels = []
    for place, piece in enumerate(pieces):
        gain = _gain([(place, piece)], goal, target_lufs)
        levels.append(None if gain is None else _after(piece, gain))
    return levels


def match_sequence(pieces: Sequence[Piece], goal: Goal, target_lufs: float) -> list[Level | None]:
    """One gain for all, so that the balance between them stays and the loudest lands on the target.

    None for each where all are silent. Source: AES TD1008 levels an album by its loudest track (secondary).
    """
    gain = _gain(list(enumerate(pieces)), goal, target_lufs)
    return [None if gain is None else _after(piece, gain) for piece in pieces]


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


def _gain(placed: Sequence[tuple[int, Piece]], goal: Goal, target_lufs: float) -> _Gain | None:
    wanted = _wanted_db([piece for _, piece in placed], target_lufs)
    if wanted is None or wanted <= 0.0:
        return None if wanted is None else _Gain(wanted, wanted)
    room, bound, place = min(
        (_hundredths_down(limit - value), bound, place)
        for place, piece in placed
        for bound, value, limit in _bounds(piece.reading, goal)
    )
    if room >= wanted:
        return _Gain(wanted, wanted)
    return _Gain(max(0.0, room), wanted, bound, place, round(wanted - room, 2))


def _wanted_db(pieces: Sequence[Piece], target_lufs: float) -> float | None:
    """The gain that brings the loudest of *pieces* nearest to the target; of gains that do so alike, the
    one nearest to target minus loudness."""
    loudest = max((piece.reading.integrated for piece in pieces), default=SILENCE)
    if loudest == SILENCE:
        return None
    tried = round(target_lufs - loudest, 2) + _TRIED_DB
    landings = np.max([piece.loudness_at(tried) for piece in pieces], axis=0)
    misses = np.abs(landings - target_lufs)
    best = np.flatnonzero(misses <= misses.min() + _ALIKE_LU)
    nearest = best[np.abs(_TRIED_DB[best]).argmin()]
    return round(float(tried[nearest]), 2) + 0.0  # never a minus zero


def _bounds(reading: Reading, goal: Goal) -> Iterator[tuple[Bound, float, float]]:
    """(limit, what was measured, the highest that passes) of each limit that the goal has."""
    yield "ceiling", reading.max_true_peak, goal.ceiling_dbtp
    if goal.max_short_term_lufs is not None:
        yield "short-term", reading.max_short_term, goal.max_short_term_lufs
    if goal.max_momentary_lufs is not None:
        yield "momentary", reading.max_momentary, goal.max_momentary_lufs


def _hundredths_down(room_db: float) -> float:
    return math.floor(room_db * 100.0 + 1e-6) / 100.0 if math.isfinite(room_db) else room_db


def _after(piece: Piece, gain: _Gain) -> Level:
    return Level(
        gain.gain_db,
        float(piece.loudness_at(gain.gain_db)),
        piece.reading.max_true_peak + gain.gain_db,
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
