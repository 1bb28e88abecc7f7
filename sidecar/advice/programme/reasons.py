"""Why the advice is what it is, in at most twelve words: what was measured, and what is expected."""

from __future__ import annotations

from sidecar.advice.programme.outlook import Outlook
from sidecar.advice.wording import ceiling, level
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
