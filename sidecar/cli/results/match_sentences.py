"""What is to be said of a matched set besides its figures: each thing once, whichever files it holds for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from sidecar.cli.results.match_outcome import Matched, MatchOutcome
from sidecar.delivery.match.gains import Bound, signed
from sidecar.model.readings import Reading
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

_LISTED = 5
_WIDE_LU = 5.0
"""Ours: ranges that far apart sound like different dynamics."""
_SILENT = "nothing is above the gate at −70 LUFS, so there is no loudness to match."
_TOO_MUCH: dict[Bound, tuple[str, str]] = {
    "ceiling": ("true peak", "Bring the highest peaks down first"),
    "short-term": ("highest short-term loudness", "Bring the loudest passages down first"),
    "momentary": ("highest momentary loudness", "Bring the loudest passages down first"),
}


def sentences(matched: Matched, *, for_sequence: bool) -> list[str]:
    """In the order in which they matter."""
    said = [
        *(outcome.error for outcome in matched.outcomes if outcome.error),
        *_notes(matched.outcomes),
        *_without_level(matched.outcomes),
        *_out_of_reach(matched, for_sequence=for_sequence),
        *_unable(matched),
        *_conflict(matched),
        *_against_other_goals(matched),
        *(outcome.off_goal for outcome in matched.outcomes if outcome.off_goal),
        *_held(matched, for_sequence=for_sequence),
        *_not_carried(matched.outcomes),
        *_off(matched.outcomes),
        *_together(matched, for_sequence=for_sequence),
        dynamics([o.reading for o in matched.measured if o.reading], f"{_target(matched.goal)}"),
    ]
    return [sentence for sentence in dict.fromkeys(said) if sentence]


def out_of_set(outcome: MatchOutcome) -> bool:
    """True for a file that keeps a sequence from having its gain; silence and damage concern itself alone."""
    level = outcome.level
    return bool(outcome.error) or (level is not None and bool({*level.broken} - {"silent", "damage"}))


def dynamics(readings: Sequence[Reading], target: str) -> str:
    """A sentence where loudness ranges differ so much that one loudness will not sound alike; else empty.

    EBU R 128 V5 n) note 2: a range of less than a minute of programme says nothing.
    """
    ranges = [reading.loudness_range for reading in readings if reading.range_is_stable]
    if not ranges or max(ranges) - min(ranges) < _WIDE_LU:
        return ""
    return (
        f"Loudness ranges run from {figure(min(ranges))} to {figure(max(ranges))} LU: at {target} the "
        "wide ones still have softer and louder places than the narrow ones. Judge them by ear."
    )


def names(texts: Iterable[str]) -> str:
    """The first few, and how many more."""
    every = list(texts)
    more = len(every) - _LISTED
    return ", ".join(every[:_LISTED]) + (f" and {more} more" if more > 0 else "")


def _notes(outcomes: Sequence[MatchOutcome]) -> Iterator[str]:
    """What may make the figures of a file wrong, such as a layout that was assumed."""
    for note in dict.fromkeys(note for outcome in outcomes for note in outcome.notes):
        yield f"{names(o.name for o in outcomes if note in o.notes)}: {note}"


def _without_level(outcomes: Sequence[MatchOutcome]) -> Iterator[str]:
    silent = [o.name for o in outcomes if o.piece and (o.level is None or "silent" in o.level.broken)]
    if silent:
        yield f"{names(silent)}: {_SILENT}"
    damaged = [o for o in outcomes if o.reading and o.reading.bad_samples]
    if damaged:
        counted = names(f"{o.name} ({o.reading.bad_samples:,})" for o in damaged if o.reading)
        yield f"Samples that are no numbers are in {counted}. Export again: such a file passes nothing."


def _out_of_reach(matched: Matched, *, for_sequence: bool) -> Iterator[str]:
    """Files that their limits keep from the target, and outside the goal."""
    if for_sequence and (matched.conflict or matched.unable):
        return
    for bound, (measure, remedy) in _TOO_MUCH.items():
        held = [
            (outcome, outcome.level)
            for outcome in matched.measured
            if outcome.level and outcome.level.limited_by == bound and {*outcome.level.broken} - {"silent"}
        ]
        if not held:
            continue
        limit = _limit(bound, matched.goals)
        if for_sequence:
            level = held[0][1]
            name = matched.measured[level.limiting].name
            yield (
                f"{signed(level.wanted_db)} dB would reach {_target(matched.goal)}, but the {measure} of "
                f"{name} allows {signed(level.wanted_db - level.over_db)} dB under {limit}. "
                f"{remedy}: by {figure(level.over_db)} dB."
            )
            continue
        amounts = names(f"{outcome.name} by {figure(level.over_db)} dB" for outcome, level in held)
        yield f"At {_target(matched.goal)} the {measure} would be over {limit}. {remedy}: {amounts}."


def _unable(matched: Matched) -> Iterator[str]:
    if matched.unable:
        each = names(outcome.name for outcome in matched.unable)
        yield (
            f"No gain brings inside {matched.goal.title}, not even one of their own: {each}. Match without "
            "--sequence for the reasons."
        )


def _conflict(matched: Matched) -> Iterator[str]:
    conflict = matched.conflict
    if conflict is None:
        return
    low, high = matched.measured[conflict.low].name, matched.measured[conflict.high].name
    yield (
        f"No one gain brings all inside {matched.goal.title}: {low} needs at least "
        f"{signed(conflict.at_least_db)} dB, {high} allows at most {signed(conflict.at_most_db)} dB. "
        "A goal with an upper limit only keeps this balance."
    )


def _against_other_goals(matched: Matched) -> Iterator[str]:
    """Where a loudness was asked for that the goal named beside it does not allow."""
    for goal in matched.goals[1:]:
        outside = [
            outcome.name
            for outcome in matched.measured
            if outcome.level
            and outcome.level.limited_by is None
            and not goal.lowest_lufs - 0.05 <= outcome.level.landing <= goal.highest_lufs + 0.05
            and "silent" not in outcome.level.broken
        ]
        if outside:
            yield f"{_target(matched.goal)} is not inside {goal.title}: {names(outside)}. Name another goal."


def _held(matched: Matched, *, for_sequence: bool) -> Iterator[str]:
    """Files that pass, though a limit kept them from the target."""
    for bound in _TOO_MUCH:
        held = [
            outcome
            for outcome in matched.measured
            if outcome.level and outcome.level.limited_by == bound and not outcome.level.broken
        ]
        if not held:
            continue
        shown = (
            held if not for_sequence else [matched.measured[held[0].level.limiting]] if held[0].level else []
        )
        yield (
            f"T{_limit(bound, matched.goals)[1:]} keeps {names(o.name for o in shown)} from "
            f"{_target(matched.goal)}; {'it passes' if len(shown) == 1 else 'they pass'} all the same."
        )


def _not_carried(outcomes: Sequence[MatchOutcome]) -> Iterator[str]:
    left_out: dict[str, list[str]] = {}
    lost: dict[str, list[str]] = {}
    for outcome in outcomes:
        for what in outcome.carried.left_out:
            left_out.setdefault(what, []).append(outcome.name)
        for what in outcome.carried.lost:
            lost.setdefault(what, []).append(outcome.name)
    for what, whose in lost.items():
        yield f"Not kept in the copy of {names(whose)}: {what}."
    if left_out:
        each = "; ".join(f"{what} ({names(dict.fromkeys(whose))})" for what, whose in left_out.items())
        yield f"Left out of copies, as it holds for the original only: {each}."


def _off(outcomes: Sequence[MatchOutcome]) -> Iterator[str]:
    off = [o for o in outcomes if o.is_off]
    if off:
        each = names(f"{o.name} by {o.missed_lu:.2f} LU" for o in off)
        yield (
            f"Rounding and dither changed the loudness of copies: {each}. To avoid that, convert the "
            "originals to 24 bits first."
        )


def _together(matched: Matched, *, for_sequence: bool) -> Iterator[str]:
    together = matched.together
    if together is None or for_sequence or len(matched.measured) < 2:
        return
    measure, _ = _TOO_MUCH[together.limited_by]
    yield (
        f"The loudest level for all together: {figure(together.loudness)} {matched.goal.unit}, set by the "
        f"{measure} of {matched.measured[together.limiting].name}."
    )


def _target(goal: Goal) -> str:
    return f"{figure(goal.target_lufs)} {goal.unit}"


def _limit(bound: Bound, goals: Sequence[Goal]) -> str:
    """The strictest of the goals, in words."""
    if bound == "ceiling":
        return f"the ceiling of {figure(min(goal.ceiling_dbtp for goal in goals))} dBTP"
    key = "max_short_term_lufs" if bound == "short-term" else "max_momentary_lufs"
    limits = [getattr(goal, key) for goal in goals]
    return f"the limit of {figure(min(limit for limit in limits if limit is not None))} {goals[0].unit}"
