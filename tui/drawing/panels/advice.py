"""What the screen says first: the next move, or calmly that there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sidecar.model.headline import Chosen, chosen
from sidecar.model.readings import Move
from sidecar.model.snapshot import Snapshot
from sidecar.settings.goals import Goal
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Tone

Sign = Literal["↓", "↑", "◇", ""]


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
    fader: str = ""
    """Which fader it is for, or the first of how many."""
    stem: str = ""
    """The stem to move first; empty for the master fader."""
    landing: str = ""
    likely: str = ""
    limit: str = ""
    caution: str = ""
    reason: str = ""


def advice(snapshot: Snapshot, *, relative: bool) -> Advice:
    """What to say about *snapshot*."""
    if snapshot.transport == "preparing":
        reason = snapshot.notice or texts.GETTING_READY
        return Advice("", "PREPARING", "", "dim", "", reason=reason)
    call = chosen(snapshot)
    landing, likely = _landing(snapshot.goal, call, relative=relative)
    word, tone = _quiet(snapshot, call) if call.move.is_quiet else _called(call.move)
    waits = texts.NO_AUDIO_YET if word == "WAITING" else ""
    rises = call.move.gain_db > 0.0
    return Advice(
        sign=_sign(word),
        word=word,
        amount="" if call.move.is_quiet else wording.plain(abs(call.move.gain_db)),
        tone=tone,
        scope=call.scope,
        fader=_fader(call),
        stem=call.stem,
        landing=landing,
        likely=likely,
        limit=texts.HELD[call.move.limited_by] if call.move.limited_by else "",
        caution=texts.LOUDER if rises else "",
        reason=texts.READY if word == "READY" else call.move.reason or waits,
    )


def _quiet(snapshot: Snapshot, call: Chosen) -> tuple[str, Tone]:
    """What is going on while there is nothing to move."""
    if snapshot.transport == "ready":
        return "READY", "strong"
    known = math.isfinite(call.move.landing)
    stand = landing_stand(snapshot.goal, call.move)
    if known and stand == "inside":
        return "ON GOAL", "inside"
    if snapshot.transport == "waiting":
        return "WAITING", "dim"
    if snapshot.transport == "ended":
        return "ENDED", "dim"
    return ("OFF GOAL", stand) if known else ("LISTENING", "dim")


def _called(move: Move) -> tuple[str, Tone]:
    """Which way; a move that a limit took away altogether is to stay."""
    if move.gain_db == 0.0:
        return "STAY", "ceiling" if move.limited_by == "ceiling" else "plain"
    return ("UP", "under") if move.gain_db > 0.0 else ("DOWN", "over")


def _sign(word: str) -> Sign:
    signs: dict[str, Sign] = {"UP": "↑", "DOWN": "↓", "ON GOAL": "◇"}
    return signs.get(word, "")


def _fader(call: Chosen) -> str:
    if not call.stem:
        return "master fader"
    return f"first of {call.moves} stem moves" if call.moves > 1 else "stem fader"


def _landing(goal: Goal, call: Chosen, *, relative: bool) -> tuple[str, str]:
    """Where it lands, and the band it lands in nine times of ten."""
    move = call.move
    if not math.isfinite(move.landing):
        return "", ""
    landing = f"{'mix ' if call.stem else ''}lands at {wording.level(move.landing, goal, relative=relative)}"
    if not (math.isfinite(move.landing_low) and math.isfinite(move.landing_high)):
        return landing, ""
    if move.landing_low == move.landing_high:  # a finished file: nothing is left to chance
        return landing, ""
    low, high = (
        wording.bare_level(value, goal, relative=relative) for value in (move.landing_low, move.landing_high)
    )
    return landing, f"likely {low} to {high}"


def landing_stand(goal: Goal, move: Move) -> wording.Stand:
    """Where the landing stands against what the goal accepts."""
    return wording.stand(move.landing, goal.lowest_lufs, goal.highest_lufs)
