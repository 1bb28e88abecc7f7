"""The gains that bring a set of files to one loudness, each by itself or all as one sequence.

A finished programme is moved by one static gain (Tech 3343 §3.1). A gain of g dB moves true peak, momentary
and short-term loudness by g; integrated loudness too, except where it carries blocks across the gate at
−70 LUFS, which moves the relative gate: so landings are worked out from the blocks, with both gates set anew.
A gain goes no further than the goal's limits allow, and down for peaks where the goal can be met so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.whole_file import Measured
from sidecar.loudness.gating import Part, Powers, gated_loudness, gating_powers
from sidecar.loudness.limits import broken_limits, excess
from sidecar.loudness.statistics import SHORT_TERM_STEPS, loudness_range, windowed
from sidecar.model.readings import BLOCK_S, SILENCE, Reading
from sidecar.settings.goals import Goal

Bound = Literal["ceiling", "short-term", "momentary"]

_TRIED_DB = np.arange(-2000, 2001) / 100.0
"""Gains around target minus loudness among which the best is looked for."""
_BEYOND_DB = 20.0
"""So far beyond the gains that the files of a sequence want the one for all is looked for."""
_ALIKE_LU = 0.005
_AS_LOUD_LU = 0.1
"""Ours: as loud as another, both as shown (one decimal, Tech 3341 §2.8)."""
_RANGE_TAIL_S = 1.5
"""Tech 3342 §5: silence behind a file, so that its last windows count."""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """What is to be known about one file of a set."""

    reading: Reading
    powers: Powers
    """Its gating blocks."""
    energy: NDArray[np.float64]
    """K-weighted, channel-summed mean squares of its 100 ms blocks, linear, shape (n,)."""

    @classmethod
    def of(cls, measured: Measured) -> Piece:
        """A measured file."""
        energy = measured.history.energy
        return cls(measured.reading, Powers(gating_powers(energy)), energy)

    def loudness_at(self, gain_db: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Integrated loudness at a gain, LUFS, in the shape of *gain_db*; ``-inf`` for silence."""
        return gated_loudness([Part(self.powers, gain_db)])

    def reading_at(self, gain_db: float) -> Reading:
        """What it reads at a gain; its loudness range stays, as long as its gates do."""
        reading = self.reading
        return replace(
            reading,
            integrated=float(self.loudness_at(gain_db)),
            max_momentary=reading.max_momentary + gain_db,
            max_short_term=reading.max_short_term + gain_db,
            max_true_peak=reading.max_true_peak + gain_db,
        )


@dataclass(frozen=True, slots=True)
class Level:
    """The gain for one file, and the levels of the file after it."""

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
    broken: tuple[str, ...] = ()
    """What a check for the goal would refuse then, a word each; empty where it would pass."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two files of a sequence that no one gain brings inside the goal."""

    low: int
    """The place of the file that needs the higher gain."""
    at_least_db: float
    high: int
    """The place of the file that allows only the lower one."""
    at_most_db: float


@dataclass(frozen=True, slots=True)
class OneGain:
    """One gain for a set."""

    levels: list[Level | None]
    conflict: Conflict | None = None
    """Why the same gain cannot do for all that a gain of their own would bring inside."""
    unable: tuple[int, ...] = ()
    """The places of files that no gain brings inside."""


@dataclass(frozen=True, slots=True)
class Together:
    """The loudest level that every file of a set can have under its limits."""

    loudness: float
    """LUFS, whole hundredths."""
    limiting: int
    """The place in the set of the file that reaches no more."""
    limited_by: Bound


def as_loud_as(goal: Goal, target_lufs: float) -> Goal:
    """The limits of *goal* around another loudness, with no more latitude than two like figures need."""
    return replace(
        goal, target_lufs=target_lufs, tolerance_below_lu=_AS_LOUD_LU, tolerance_above_lu=_AS_LOUD_LU
    )


def match_singly(pieces: Sequence[Piece], goals: Sequence[Goal]) -> list[Level | None]:
    """Each to the target of the first of *goals*, under the limits of all; None for silence."""
    return [_single(place, piece, goals) for place, piece in enumerate(pieces)]


def match_sequence(pieces: Sequence[Piece], goals: Sequence[Goal]) -> OneGain:
    """One gain for all, so that the balance between them stays: of those with which all are inside the goals
    the one that brings the loudest nearest to the target. Silent and damaged files go along.

    Source: AES TD1008 levels an album by its loudest track (secondary).
    """
    counted = [(place, piece) for place, piece in enumerate(pieces) if _counts(piece.reading)]
    wanted = _wanted_db([piece for _, piece in counted], goals[0].target_lufs)
    if wanted is None:
        return OneGain([None] * len(pieces))
    tried = _tried_for([piece for _, piece in counted], goals)
    allowed = np.array([_passing(piece, goals, tried) for _, piece in counted])
    room, bound, limiting = min(bound for place, piece in counted for bound in _rooms(place, piece, goals))
    common = np.flatnonzero(allowed.all(axis=0))
    if common.size:
        gain = round(float(tried[common[np.abs(tried[common] - wanted).argmin()]]), 2) + 0.0
    else:
        gain = wanted if wanted <= 0.0 else min(wanted, max(0.0, room))
    held = _Gain(gain, wanted)
    if gain < wanted and room < wanted:
        held = _Gain(gain, wanted, bound, limiting, round(wanted - room, 2))
    levels: list[Level | None] = [_after(piece, held, goals) for piece in pieces]
    if common.size:
        return OneGain(levels)
    able = np.asarray(allowed.any(axis=1))
    unable = tuple(place for (place, _), is_able in zip(counted, able.tolist(), strict=True) if not is_able)
    within = [one for one, is_able in zip(counted, able.tolist(), strict=True) if is_able]
    return OneGain(levels, _conflict(within, allowed[able], tried), unable)


def together(pieces: Sequence[Piece], goals: Sequence[Goal]) -> Together | None:
    """How loud all of *pieces* can be at once; None where none has loudness."""
    reached = []
    for place, piece in enumerate(pieces):
        if _counts(piece.reading):
            room, bound, _ = min(_rooms(place, piece, goals))
            reached.append((float(piece.loudness_at(room)), place, bound))
    if not reached:
        return None
    loudness, place, bound = min(reached)
    return Together(_hundredths_down(loudness), place, bound)


def programme(pieces: Sequence[Piece], gains_db: Sequence[float]) -> Reading:
    """What *pieces* read in sequence, as one programme: its blocks run across their joins, and its gates are
    set over all of them. Integrated, range, true peak and length are given.

    Of each piece whole 100 ms count.
    """
    energy = np.concatenate(
        [piece.energy * 10.0 ** (gain / 10.0) for piece, gain in zip(pieces, gains_db, strict=True)]
    )
    with_tail = np.concatenate([energy, np.zeros(round(_RANGE_TAIL_S / BLOCK_S))])
    peaks = (piece.reading.max_true_peak + gain for piece, gain in zip(pieces, gains_db, strict=True))
    return Reading(
        integrated=float(gated_loudness([Part(Powers(gating_powers(energy)))])),
        loudness_range=loudness_range(windowed(with_tail, SHORT_TERM_STEPS)),
        max_true_peak=max(peaks),
        seconds=energy.size * BLOCK_S,
    )


def room_of(reading: Reading, goals: Sequence[Goal]) -> float:
    """How far the gain of what reads so may rise under the limits of *goals*, dB; negative: it must fall."""
    return min(room for _, room in _rooms_of(reading, goals))


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


def _single(place: int, piece: Piece, goals: Sequence[Goal]) -> Level | None:
    wanted = _wanted_db([piece], goals[0].target_lufs)
    if wanted is None:
        return None
    room, bound, _ = min(_rooms(place, piece, goals))
    if room >= wanted:
        return _after(piece, _Gain(wanted, wanted), goals)
    over = round(wanted - room, 2)
    lowered = _after(piece, _Gain(room, wanted, bound, place, over), goals)
    if not lowered.broken:
        return lowered
    # As check has it: what no gain can correct is brought as near as it goes, and never down for peaks alone.
    return _after(piece, _Gain(min(wanted, max(0.0, room)), wanted, bound, place, over), goals)


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


def _rooms(place: int, piece: Piece, goals: Sequence[Goal]) -> Iterator[tuple[float, Bound, int]]:
    """(how far the gain may rise, the limit that holds it, *place*) of each limit that the goals have.

    What passes as it is shown needs no gain down; what is promised holds to the last digit.
    """
    for bound, room in _rooms_of(piece.reading, goals):
        yield room, bound, place


def _rooms_of(reading: Reading, goals: Sequence[Goal]) -> Iterator[tuple[Bound, float]]:
    for goal in goals:
        for bound, value, limit in _bounds(reading, goal):
            passes = value > limit and excess(value, limit) <= 0
            yield bound, 0.0 if passes else _hundredths_down(limit - value)


def _bounds(reading: Reading, goal: Goal) -> Iterator[tuple[Bound, float, float]]:
    """(limit, what was measured, the highest that passes) of each limit that the goal has."""
    yield "ceiling", reading.max_true_peak, goal.ceiling_dbtp
    if goal.max_short_term_lufs is not None:
        yield "short-term", reading.max_short_term, goal.max_short_term_lufs
    if goal.max_momentary_lufs is not None:
        yield "momentary", reading.max_momentary, goal.max_momentary_lufs


def _tried_for(pieces: Sequence[Piece], goals: Sequence[Goal]) -> NDArray[np.float64]:
    """Whole hundredths of a decibel from under the lowest gain that a piece may want to over the highest."""
    wanted = [goals[0].target_lufs - piece.reading.integrated for piece in pieces]
    rooms = [room_of(piece.reading, goals) for piece in pieces]
    lowest, highest = min(*wanted, *rooms) - _BEYOND_DB, max(wanted) + _BEYOND_DB
    return np.arange(math.floor(100.0 * lowest), math.ceil(100.0 * highest) + 1) / 100.0


def _passing(piece: Piece, goals: Sequence[Goal], tried: NDArray[np.float64]) -> NDArray[np.bool_]:
    """With which of the gains *tried* the piece is inside all goals, as shown."""
    landings = np.round(piece.loudness_at(tried), 1)
    room, _, _ = min(_rooms(0, piece, goals))
    inside = tried <= room + _ALIKE_LU
    for goal in goals:
        inside &= (landings >= round(goal.lowest_lufs, 1)) & (landings <= round(goal.highest_lufs, 1))
    return inside


def _conflict(
    counted: Sequence[tuple[int, Piece]], allowed: NDArray[np.bool_], tried: NDArray[np.float64]
) -> Conflict | None:
    if allowed.all(axis=0).any() or not counted:
        return None
    lowest = tried[allowed.argmax(axis=1)]
    highest = tried[allowed.shape[1] - 1 - allowed[:, ::-1].argmax(axis=1)]
    low, high = int(lowest.argmax()), int(highest.argmin())
    return Conflict(
        counted[low][0], round(float(lowest[low]), 2), counted[high][0], round(float(highest[high]), 2)
    )


def _counts(reading: Reading) -> bool:
    """Whether a file has a say in what a set can reach."""
    return reading.integrated != SILENCE and not reading.bad_samples


def _hundredths_down(room_db: float) -> float:
    return math.floor(room_db * 100.0 + 1e-6) / 100.0 if math.isfinite(room_db) else room_db


def _after(piece: Piece, gain: _Gain, goals: Sequence[Goal]) -> Level:
    reading = piece.reading_at(gain.gain_db)
    damage = ("damage",) if reading.bad_samples else ()
    return Level(
        gain.gain_db,
        reading.integrated,
        reading.max_true_peak,
        gain.wanted_db,
        gain.limited_by,
        gain.limiting,
        gain.over_db,
        tuple(dict.fromkeys((*damage, *(word for goal in goals for word in broken_limits(reading, goal))))),
    )
