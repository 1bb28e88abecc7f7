"""What the screen says first: the next move, or calmly that there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sidecar.feed import Snapshot
from sidecar.goals import Goal
from sidecar.vocabulary import Limit, Move
from tui.drawing import wording
from tui.drawing.cells import Tone

Sign = Literal["↓", "↑", "◇", ""]

LIMITS: dict[Limit, str] = {
    "ceiling": "△ held by the true-peak ceiling",
    "step": "held to one safe step",
    "range": "the fader has no more travel",
}

CAUTION = "louder: mind ears and monitors"
SHORT_CAUTION = "mind ears"


@dataclass(frozen=True, slots=True)
class Advice:
    """The next move in words, ready to be set large."""

    sign: Sign
    word: str
    """DOWN, UP, or what is going on when there is nothing to move."""
    amount: str
    """How many dB without a sign; empty when there is nothing to move."""
    tone: Tone
    scope: str
    """Which pass it is about."""
    landing: str = ""
    likely: str = ""
    limit: str = ""
    caution: str = ""
    reason: str = ""


def move_in_question(snapshot: Snapshot) -> tuple[Move, str]:
    """The move to show and the pass it is for: a pass that ended cannot be landed any more."""
    if snapshot.this_pass is None or snapshot.transport == "ended":
        return snapshot.next_pass, "next pass"
    return snapshot.this_pass, "this pass"


def advice(snapshot: Snapshot, *, relative: bool) -> Advice:
    """What to say about *snapshot*."""
    move, scope = move_in_question(snapshot)
    if snapshot.transport == "preparing":
        reason = snapshot.notice or "getting ready to listen"
        return Advice("", "PREPARING", "", "dim", "", reason=reason)
    if move.is_quiet:
        return _quiet(snapshot, move, scope, relative=relative)
    return _called(snapshot.goal, move, scope, relative=relative)


def _quiet(snapshot: Snapshot, move: Move, scope: str, *, relative: bool) -> Advice:
    goal = snapshot.goal
    landing, likely = _landing(goal, move, relative=relative)
    if math.isfinite(move.landing) and landing_stand(goal, move) == "inside":
        return Advice("◇", "ON GOAL", "", "inside", scope, landing, likely, reason=move.reason)
    if snapshot.transport == "waiting":
        reason = move.reason or "no audio is arriving yet"
        return Advice("", "WAITING", "", "dim", scope, landing, likely, reason=reason)
    word = "ENDED" if snapshot.transport == "ended" else "LISTENING"
    return Advice("", word, "", "dim", scope, landing, likely, reason=move.reason)


def _called(goal: Goal, move: Move, scope: str, *, relative: bool) -> Advice:
    landing, likely = _landing(goal, move, relative=relative)
    limit = LIMITS[move.limited_by] if move.limited_by else ""
    if move.gain_db == 0.0:
        tone = "ceiling" if move.limited_by == "ceiling" else "plain"
        return Advice("", "STAY", "0.0", tone, scope, landing, likely, limit, reason=move.reason)
    rises = move.gain_db > 0.0
    return Advice(
        sign="↑" if rises else "↓",
        word="UP" if rises else "DOWN",
        amount=wording.plain(abs(move.gain_db)),
        tone="under" if rises else "over",
        scope=scope,
        landing=landing,
        likely=likely,
        limit=limit,
        caution=CAUTION if rises else "",
        reason=move.reason,
    )


def _landing(goal: Goal, move: Move, *, relative: bool) -> tuple[str, str]:
    """Where it lands, and the band it lands in nine times of ten."""
    if not math.isfinite(move.landing):
        return "", ""
    landing = f"lands at {wording.level(move.landing, goal, relative=relative)}"
    if not (math.isfinite(move.landing_low) and math.isfinite(move.landing_high)):
        return landing, ""
    low, high = (
        wording.bare_level(value, goal, relative=relative) for value in (move.landing_low, move.landing_high)
    )
    return landing, f"likely {low} to {high}"


def landing_stand(goal: Goal, move: Move) -> wording.Stand:
    """Where the landing stands against what the goal accepts."""
    return wording.stand(move.landing, goal.lowest_lufs, goal.highest_lufs)
