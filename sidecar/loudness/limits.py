"""Whether a pass keeps within its goal: the short answer, for a list or a row of the screen. Files have more
to say of themselves (see ``sidecar/delivery``)."""

from __future__ import annotations

from sidecar.model.readings import SILENCE, Reading
from sidecar.settings.goals import Goal


def broken_limits(reading: Reading, goal: Goal) -> tuple[str, ...]:
    """The limits of *goal* that *reading* breaks, a word each; empty where the pass is within all.

    Figures are judged as they are shown, rounded to one decimal (Tech 3341 §2.8).
    """
    integrated = round(reading.integrated, 1)
    limits = (
        ("silent", integrated == SILENCE),
        ("quiet", SILENCE < integrated < round(goal.lowest_lufs, 1)),
        ("loud", integrated > round(goal.highest_lufs, 1)),
        ("true peak", round(reading.max_true_peak, 1) > goal.ceiling_dbtp),
        ("short-term", _is_over(reading.max_short_term, goal.max_short_term_lufs)),
        ("momentary", _is_over(reading.max_momentary, goal.max_momentary_lufs)),
    )
    return tuple(word for word, is_broken in limits if is_broken)


def _is_over(value: float, limit: float | None) -> bool:
    return limit is not None and round(value, 1) > limit
