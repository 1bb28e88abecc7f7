"""Where each measured loudness is against its limits: the one place by which panels colour it."""

from __future__ import annotations

from sidecar.loudness.limits import Side, is_over, is_under, side_of
from sidecar.model.snapshot import Snapshot
from sidecar.settings.goals import Goal
from tui.drawing.panels.overs import short_term_line
from tui.drawing.wording import Sides

HYSTERESIS_LU = 0.1
"""How exact a meter must be (Tech 3341 §2.9, table 1), and what the alert ``over`` goes back by."""

COMFORT_BELOW_LU = 5.0
"""Listeners' comfort reaches about 5 LU under the target (EBU Tech 3343 §3.5.2): the left edge of
the pass zone of momentary and short-term, as no programme could hold them within its tolerance."""


def sides_of(snapshot: Snapshot, before: Sides) -> Sides:
    """Returns how the measures of *snapshot* are coloured.

    before: how they were a moment ago; a new :class:`Sides` after a reset, for another goal, and at the end,
    where the verdict has no memory.
    """
    reading, goal = snapshot.reading, snapshot.goal
    low = goal.target_lufs - COMFORT_BELOW_LU
    return Sides(
        steady_side(reading.integrated, goal.lowest_lufs, goal.highest_lufs, before.integrated),
        steady_side(reading.short_term, low, short_term_line(goal), before.short_term),
        steady_side(reading.momentary, low, momentary_line(goal), before.momentary),
    )


def steady_side(value: float, low: float, high: float, before: Side) -> Side:
    """Returns where *value*, as shown, is against *low* … *high*; what was outside comes back inside once it
    is HYSTERESIS_LU inside, in a narrow zone half of its width."""
    now = side_of(value, low, high)
    margin = min(HYSTERESIS_LU, (high - low) / 2.0)
    if now != "inside" or before == "inside":
        return now
    is_back = not (is_over(value, high - margin) if before == "over" else is_under(value, low + margin))
    return "inside" if is_back else before


def momentary_line(goal: Goal) -> float:
    """LUFS above which momentary is over: the document's limit, else the hot line."""
    return goal.hot_lufs if goal.max_momentary_lufs is None else goal.max_momentary_lufs
