"""Judging what was measured against a goal: does it pass, what is wrong, and what mends it.

Figures are judged as they are shown, rounded to one decimal (Tech 3341 §2.8): nobody can be asked
to tell a file that reads −22.8 from another one that does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from sidecar.goals import Goal
from sidecar.vocabulary import SILENCE, Reading, figure


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome for one file and one goal."""

    passes: bool
    findings: tuple[str, ...]
    """Sentences, the worst first; guidance that does not fail a file comes last."""
    move_db: float | None
    """Static gain that mends the loudness as far as the ceiling allows, dB; None where there is no
    programme to move. 0 where nothing needs to be done."""


def judge(reading: Reading, goal: Goal) -> Verdict:
    """Holds *reading* against *goal*."""
    if reading.integrated == SILENCE:
        nothing = "Nothing in it is louder than the gate at −70 LUFS: it is silent or shorter than 0.4 s."
        return Verdict(False, (nothing, *_damage(reading)), None)
    faults = [*_loudness(reading, goal), *_peaks(reading, goal), *_maxima(reading, goal)]
    move_db = _move_db(reading, goal)
    remedy = _remedy(reading, goal, move_db) if faults else []
    return Verdict(not faults, (*faults, *remedy, *_damage(reading), *_guidance(reading, goal)), move_db)


def _excess(value: float, limit: float) -> float:
    """How far *value* is over *limit*, both as shown; negative when under."""
    return round(round(value, 1) - limit, 1)


def _loudness(reading: Reading, goal: Goal) -> Iterator[str]:
    over, under = (
        _excess(reading.integrated, goal.highest_lufs),
        -_excess(reading.integrated, goal.lowest_lufs),
    )
    if over > 0:
        yield (
            f"Too loud: {figure(reading.integrated)} {goal.unit} is {figure(over)} LU over the highest that "
            f"passes, {figure(goal.highest_lufs)} {goal.unit}."
        )
    if under > 0:
        yield (
            f"Too quiet: {figure(reading.integrated)} {goal.unit} is {figure(under)} LU under the lowest "
            f"that passes, {figure(goal.lowest_lufs)} {goal.unit}."
        )


def _peaks(reading: Reading, goal: Goal) -> Iterator[str]:
    over = _excess(reading.max_true_peak, goal.ceiling_dbtp)
    if over > 0:
        yield (
            f"True peak {figure(reading.max_true_peak)} dBTP is {figure(over)} dB over the ceiling of "
            f"{figure(goal.ceiling_dbtp)} dBTP."
        )


def _maxima(reading: Reading, goal: Goal) -> Iterator[str]:
    for word, value, limit in (
        ("Short-term", reading.max_short_term, goal.max_short_term_lufs),
        ("Momentary", reading.max_momentary, goal.max_momentary_lufs),
    ):
        if limit is not None and _excess(value, limit) > 0:
            yield (
                f"{word} reaches {figure(value)} {goal.unit}, {figure(_excess(value, limit))} LU over the "
                f"limit of {figure(limit)} {goal.unit}."
            )


def _move_db(reading: Reading, goal: Goal) -> float:
    """Tech 3343 §3.1: one static gain of target minus loudness; none where the loudness passes."""
    passes = (
        _excess(reading.integrated, goal.highest_lufs) <= 0 <= _excess(reading.integrated, goal.lowest_lufs)
    )
    if passes:
        over = max(0.0, _excess(reading.max_true_peak, goal.ceiling_dbtp))
        slack = max(0.0, _excess(reading.integrated, goal.lowest_lufs))
        return -over if 0.0 < over <= slack else 0.0
    wanted = goal.target_lufs - reading.integrated
    headroom = goal.ceiling_dbtp - reading.max_true_peak
    if wanted > 0:
        return math.floor(max(0.0, min(wanted, headroom)) * 10.0 + 1e-6) / 10.0
    return round(wanted, 1)


def _remedy(reading: Reading, goal: Goal, move_db: float) -> Iterator[str]:
    landing = reading.integrated + move_db
    peak = reading.max_true_peak + move_db
    if move_db:
        yield (
            f"A gain of {move_db:+.1f} dB brings it to {figure(landing)} {goal.unit} with peaks at "
            f"{figure(peak)} dBTP.".replace("-", "−")
        )
    short = max(0.0, _excess(goal.lowest_lufs, landing))
    over = max(0.0, _excess(peak, goal.ceiling_dbtp))
    if short or over:
        needed = round(goal.target_lufs - landing, 1) if short else over
        yield f"Gain alone cannot mend it: take {figure(needed)} dB off the highest peaks first."


def _damage(reading: Reading) -> Iterator[str]:
    if reading.bad_samples:
        yield f"{reading.bad_samples} samples are not numbers; they were measured as silence."


def _guidance(reading: Reading, goal: Goal) -> Iterator[str]:
    """Tech 3343 §3.3: the loudness range is guidance, never a reason to refuse a programme."""
    guide = goal.range_guide_lu
    if guide is not None and _excess(reading.loudness_range, guide) > 0:
        yield (
            f"For guidance: the loudness range of {figure(reading.loudness_range)} LU is wider than "
            f"{figure(guide)} LU."
        )
