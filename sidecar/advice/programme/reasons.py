"""Why the advice is what it is: what was measured, and what is expected.

The advice as shown has at most twelve words. A move that is asked of the forecast itself has a sentence that
says where it leads.
"""

from __future__ import annotations

from sidecar.advice.programme.outlook import Outlook
from sidecar.advice.wording import ceiling, change, level
from sidecar.model.advice import Advice
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

_ABOUT_LU = 0.3
"""Less counts as none, in words."""

_LITTLE_LU = 0.5
"""A landing this near to the target is too near for a move that is as coarse as its doubt."""


def reason_for(advice: Advice, outlook: Outlook, goal: Goal) -> str:
    """Returns the reason for what *advice* asks for, by the forecast that it comes from."""
    move = advice.move
    if move.limited_by == "ceiling":
        return _of_peaks(move.gain_db, goal)
    if advice.restart_fader_db is not None:
        return (
            f"Finish at {level(move.landing, goal)}, or start again with fader at "
            f"{figure(advice.restart_fader_db)} dB."
        )
    if advice.more_to_come:
        return f"First step, rest later: {_heard(outlook)}."
    if advice.state == "move":
        return f"{_first_up(_heard(outlook))}; {_expected(outlook)}."
    return _of_landing(advice, goal)


def whole_pass_heads(goal: Goal, gain_db: float, likely: float) -> str:
    """Returns where a whole pass lands with a move, LUFS."""
    return f"{_from_here(gain_db)}: a whole pass heads for {level(likely, goal)}."


def this_pass_heads(goal: Goal, gain_db: float, wanted_db: float, likely: float) -> str:
    """Returns where this pass lands with a move of *gain_db*, a step of the *wanted_db* that the target asks
    for, LUFS."""
    if gain_db != wanted_db:
        in_all = f"{figure(abs(wanted_db))} dB in all"
        return f"{change(gain_db)}, then look again: {level(goal.target_lufs, goal)} asks for {in_all}."
    low = ", kept low while much is still to come" if likely < goal.lowest_lufs - 0.1 else ""
    verb = "then heads" if gain_db else "heads"
    return f"{_from_here(gain_db)}: this pass {verb} for {level(likely, goal)}{low}."


def out_of_reach(goal: Goal, gain_db: float, nearest: float, next_pass_db: float) -> str:
    """Returns the landing that is nearest to a target that no move reaches any more, LUFS, and the move for
    the next pass, dB."""
    what = change(gain_db) if gain_db else _LEAVE
    best = f"{level(goal.target_lufs, goal)} is out of reach in this pass, {level(nearest, goal)} the nearest"
    return f"{what}: {best}." + (f" Next pass: {change(next_pass_db)}." if next_pass_db else "")


_LEAVE = "Leave the fader"


def _from_here(gain_db: float) -> str:
    return f"{change(gain_db)} from here" if gain_db else _LEAVE


def _of_landing(advice: Advice, goal: Goal) -> str:
    """Where the pass lands with the fader left alone. (How it sounded so far would only seem to disagree.)"""
    what = "This pass heads for" if advice.lands_this_pass else "A whole pass lands at"
    landing = advice.move.landing
    if advice.state == "on_goal":
        so = "leave the fader"
    elif abs(landing - goal.target_lufs) <= _LITTLE_LU:
        so = "too little to move for"
    else:
        so = "too uncertain yet to move"
    return f"{what} {level(landing, goal)}; {so}."


def _of_peaks(gain_db: float, goal: Goal) -> str:
    if gain_db < 0.0:
        return f"Down because peaks are over the {ceiling(goal)} ceiling."
    if gain_db > 0.0:
        return f"Peaks allow no more: higher, they pass {ceiling(goal)}."
    return f"Held by peaks at {ceiling(goal)}: lower the peaks first."


def _heard(outlook: Outlook) -> str:
    lu = outlook.heard_lu
    if abs(lu) < _ABOUT_LU:
        return "on target so far"
    return f"{figure(abs(lu))} LU too {'loud' if lu > 0.0 else 'soft'} so far"


def _expected(outlook: Outlook) -> str:
    if outlook.is_known:
        return "the earlier pass shows the rest"
    change_lu = outlook.expected_lu - outlook.heard_lu
    if abs(change_lu) < _ABOUT_LU:
        return "expected to stay so"
    return f"the rest is likely {'louder' if change_lu > 0.0 else 'softer'}"


def _first_up(text: str) -> str:
    return text[:1].upper() + text[1:]
