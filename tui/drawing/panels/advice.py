"""What the screen says first: one of four calm states, the move now and from the top, or the verdict."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

from sidecar.loudness.limits import Side, find_verdict, side_of
from sidecar.model.advice import Advice as ModelAdvice
from sidecar.model.advice import State
from sidecar.model.headline import ALL_STEMS, chosen, chosen_move, first_stem
from sidecar.model.readings import SILENCE, Move
from sidecar.model.snapshot import Snapshot, Stem, Transport
from sidecar.model.verdict import verdict_sentences
from sidecar.settings.goals import Goal
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Tone, shortened

Sign = Literal["↓", "↑", "◇", ""]

STEM_WIDTH = 12
"""Cells of a stem's name in the first line; the table has it in full."""


@dataclass(frozen=True, slots=True)
class Advice:
    """The first thing to read, in words, ready to be set large. Each text has its own place."""

    sign: Sign
    word: str
    """DOWN, UP, or what is going on when there is nothing to move."""
    amount: str
    """How many dB without a sign; empty when there is nothing to move."""
    tone: Tone
    call: str
    """The move now in one line."""
    travel: str = ""
    """Where the fader is, and where the move takes it."""
    landing: str = ""
    likely: str = ""
    landing_side: Side = "inside"
    landing_ink: Side = "inside"
    from_top: str = ""
    """The move that lands a whole pass."""
    note: str = ""
    """What keeps the move small, or what is to be done besides it."""
    short_note: str = ""
    """The same where that has no room."""
    reason: str = ""
    verdict: tuple[str, ...] = ()
    """After the end: by how much which limit is broken, or how near the nearest is."""


def advice(snapshot: Snapshot, *, relative: bool) -> Advice:
    """Returns what to say about *snapshot*. relative: loudness in LU from the goal, in all of it."""
    said = _said(snapshot, relative=relative)
    if not relative:
        return said
    write = partial(wording.in_unit, goal=snapshot.goal, relative=True)
    return replace(said, note=write(said.note), reason=write(said.reason))


def _said(snapshot: Snapshot, *, relative: bool) -> Advice:
    if snapshot.transport == "preparing":
        return Advice("", "PREPARING", "", "dim", "preparing", reason=snapshot.notice or texts.GETTING_READY)
    if snapshot.is_pass_over:
        return _verdict(snapshot, relative=relative)
    stem = first_stem(snapshot.stems)
    if stem is not None:
        return _stem(snapshot, stem, relative=relative)
    return _programme(snapshot, relative=relative)


def next_pass_fader_db(snapshot: Snapshot) -> float | None:
    """Returns where the master fader lands a whole pass, after one that fails; None where none has failed,
    it is there already, that is unknown, or stems are to be moved."""
    gain_db = snapshot.advice.from_top.gain_db
    start_db = snapshot.fader_db + gain_db
    if round(gain_db, 1) == 0.0 or not snapshot.is_pass_over or snapshot.stems or not math.isfinite(start_db):
        return None
    is_known = snapshot.reading.seconds > 0.0 and math.isfinite(snapshot.advice.from_top.landing)
    return start_db if is_known and not find_verdict(snapshot.reading, snapshot.goal).passes else None


def landing_side(goal: Goal, move: Move) -> Side:
    """Returns where the landing is against what the goal accepts, as shown. It has no memory, since the
    advice changes at looks only."""
    return side_of(move.landing, goal.lowest_lufs, goal.highest_lufs)


def landing_ink(snapshot: Snapshot, move: Move) -> Side:
    """Returns the ink of the landing of *move*, wherever it is drawn. One that more is to come for, or that
    nothing is to be done about yet, is drawn as if inside: no calm word is beside a colour of alarm."""
    said = snapshot.advice
    is_open = said.state in {"listening", "hold"} or said.more_to_come
    return "inside" if is_open and not snapshot.is_pass_over else landing_side(snapshot.goal, move)


# --- while the pass plays -----------------------------------------------------------------------

_QUIET: dict[State, tuple[str, Tone, Sign]] = {
    "listening": ("LISTENING", "dim", ""),
    "hold": ("HOLD", "plain", ""),
    "on_goal": ("ON GOAL", "inside", "◇"),
}
_NOT_YET: dict[Transport, tuple[str, Tone, str]] = {
    "waiting": ("WAITING", "dim", texts.NO_AUDIO_YET),
    "ready": ("READY", "strong", texts.READY),
}
"""In place of listening: the word, and why."""


def _programme(snapshot: Snapshot, *, relative: bool) -> Advice:
    said, goal = snapshot.advice, snapshot.goal
    move = said.move
    is_move = said.state == "move"
    if is_move:
        word, tone, sign = _way(move)
    else:
        word, tone, sign = _QUIET.get(said.state, _QUIET["listening"])
    reason = chosen(snapshot).move.reason if snapshot.stems else move.reason  # with what prevents them
    if word == "LISTENING" and snapshot.transport in _NOT_YET:
        word, tone, reason = _NOT_YET[snapshot.transport]
    note, short_note, reason = _note_and_reason(said, _unsaid(reason, goal, move.landing))
    landing, likely = _landing(goal, move, relative=relative)
    if said.restart_fader_db is not None:
        landing = texts.FINISH_AND_LAND.format(level=landing.removeprefix("lands at "))
    return Advice(
        sign,
        word,
        _amount(move) if is_move else "",
        tone,
        call=f"now: {word.lower()} {_amount(move)} dB" if is_move else word.lower(),
        travel=_travel(snapshot.fader_db, move.gain_db if is_move else 0.0),
        landing=landing,
        likely=likely,
        landing_side=landing_side(goal, move),
        landing_ink=landing_ink(snapshot, move),
        from_top=_from_top(said.from_top),
        note=note,
        short_note=short_note,
        reason=reason,
    )


def _stem(snapshot: Snapshot, stem: Stem, *, relative: bool) -> Advice:
    word, tone, sign = _way(stem.move)
    landing, likely = _landing(snapshot.goal, stem.move, relative=relative)
    name = ALL_STEMS if chosen_move(snapshot)[0] == ALL_STEMS else shortened(stem.name, STEM_WIDTH)
    return Advice(
        sign,
        word,
        _amount(stem.move),
        tone,
        call=f"{name}: {word.lower()} {_amount(stem.move)} dB",
        travel="" if name == ALL_STEMS else _travel(stem.fader_db, stem.move.gain_db),
        landing=f"mix {landing}" if landing else "",
        likely=likely,
        landing_side=landing_side(snapshot.goal, stem.move),
        landing_ink=landing_ink(snapshot, stem.move),
        from_top=_from_top(snapshot.advice.from_top),
        note=_stem_note(snapshot, stem.move),
        reason=_stem_reason(snapshot, stem),
    )


def _stem_reason(snapshot: Snapshot, stem: Stem) -> str:
    """Why; which stems are to be moved comes before it where it is not only the one that is shown."""
    reason = stem.move.reason
    if chosen(snapshot).moves == 1:
        reason = reason.removeprefix(f"{stem.name} {_in_words(stem.move)}. ")
    return _unsaid(reason, snapshot.goal, stem.move.landing)


def _stem_note(snapshot: Snapshot, move: Move) -> str:
    """How many stems are to be moved, what limits this one, and the caution."""
    name, moves = chosen_move(snapshot)[0], chosen(snapshot).moves
    parts = [texts.FIRST_OF.format(count=moves)] if moves > 1 and name != ALL_STEMS else []
    parts += [_limit(move)] if move.limited_by and not parts else []  # else the table has it
    parts += [texts.LOUDER_SHORT] if move.gain_db > 0.0 else []
    return ", ".join(parts)


def _way(move: Move) -> tuple[str, Tone, Sign]:
    """Which way; a move that a limit took away altogether is to hold."""
    if move.gain_db == 0.0:
        return "HOLD", "ceiling" if move.limited_by == "ceiling" else "plain", ""
    return ("UP", "under", "↑") if move.gain_db > 0.0 else ("DOWN", "over", "↓")


def _amount(move: Move) -> str:
    return wording.plain(abs(move.gain_db))


def _note_and_reason(said: ModelAdvice, reason: str) -> tuple[str, str, str]:
    """Returns what is to be done besides the move or keeps it small, the same shorter, then why; nothing is
    said twice."""
    if said.restart_fader_db is not None:
        long, short = (
            form.format(fader=wording.signed(said.restart_fader_db))
            for form in (texts.OR_START_AGAIN, texts.OR_START_AGAIN_SHORT)
        )
        return long, short, ""
    if said.more_to_come:
        is_in_it = reason.lower().startswith(texts.FIRST_STEP)
        return (reason, texts.FIRST_STEP, "") if is_in_it else (texts.FIRST_STEP, "", reason)
    if said.move.limited_by == "ceiling" and texts.PEAKS in reason.lower():
        return f"△ {reason}", _limit(said.move), ""
    return _limit(said.move), "", reason


def _unsaid(reason: str, goal: Goal, *shown_lufs: float, change: str = "") -> str:
    """*reason* without the clauses that end in a loudness, or are a *change*, which is shown beside it."""
    shown = tuple(wording.level(lufs, goal, relative=False) for lufs in shown_lufs)
    clauses = [(clause, clause.rstrip(".;:")) for clause in re.split("(?<=[.;:]) ", reason)]
    left = " ".join(
        clause for clause, words in clauses if not words.endswith(shown) and words.lower() != change.lower()
    )
    if left == reason:
        return reason
    return f"{left[:1].upper()}{left[1:].rstrip('.;:')}." if left else ""


def _limit(move: Move) -> str:
    """What keeps the move small, or is the reason that it goes down."""
    if move.limited_by == "ceiling" and move.gain_db < 0.0:
        return texts.FOR_PEAKS
    return texts.HELD[move.limited_by] if move.limited_by else ""


def _from_top(move: Move) -> str:
    if not math.isfinite(move.landing):
        return ""
    return texts.FROM_TOP.format(move=_in_words(move))


def _in_words(move: Move) -> str:
    """The move as ``down 1.8 dB``."""
    if round(move.gain_db, 1) == 0.0:
        return texts.NO_CHANGE
    return f"{'up' if move.gain_db > 0.0 else 'down'} {_amount(move)} dB"


def _travel(fader_db: float, gain_db: float) -> str:
    """Where the fader is, and where the move takes it."""
    if fader_db == SILENCE:
        return texts.ALL_THE_WAY_DOWN
    if gain_db == 0.0:
        return f"fader at {wording.signed(fader_db)} dB"
    return f"{wording.signed(fader_db)} → {wording.signed(fader_db + gain_db)}"


def _landing(goal: Goal, move: Move, *, relative: bool) -> tuple[str, str]:
    """Where it lands, and the range it lands in nine times of ten."""
    if not math.isfinite(move.landing):
        return "", ""
    landing = f"lands at {wording.level(move.landing, goal, relative=relative)}"
    if not (math.isfinite(move.landing_low) and math.isfinite(move.landing_high)):
        return landing, ""
    if move.landing_low == move.landing_high:  # a finished file: nothing is left to chance
        return landing, ""
    low, high = (
        wording.bare_level(value, goal, relative=relative) for value in (move.landing_low, move.landing_high)
    )
    return landing, f"likely {low} to {high}"


# --- after it -----------------------------------------------------------------------------------


def _verdict(snapshot: Snapshot, *, relative: bool) -> Advice:
    """Passes or fails, by how much, against which limit; then the move for the next pass."""
    if snapshot.reading.seconds <= 0.0:
        return Advice("", "ENDED", "", "dim", "ended", reason=texts.NOTHING_MEASURED)
    verdict = find_verdict(snapshot.reading, snapshot.goal)
    stem = first_stem(snapshot.stems)
    move = stem.move if stem else snapshot.advice.from_top
    fader_db = stem.fader_db if stem else snapshot.fader_db
    landing, likely = _landing(snapshot.goal, move, relative=relative)
    name = f"{shortened(stem.name, STEM_WIDTH)} " if stem else ""
    shown_lufs = snapshot.reading.integrated, move.landing
    reason = _unsaid(move.reason, snapshot.goal, *shown_lufs, change=_in_words(move))
    unit = wording.unit(snapshot.goal, relative=relative)
    write = partial(wording.bare_level, goal=snapshot.goal, relative=relative)
    return Advice(
        "◇" if verdict.passes else "",
        "PASSES" if verdict.passes else "FAILS",
        "",
        "inside" if verdict.passes else "over",
        call="passes" if verdict.passes else "fails",
        travel=_travel(fader_db, move.gain_db),
        landing=landing,
        likely=likely,
        landing_side=landing_side(snapshot.goal, move),
        landing_ink=landing_ink(snapshot, move),
        from_top=texts.NEXT_PASS.format(move=f"{name}{_in_words(move)}") if landing else "",
        note=_limit(move),
        reason=reason,
        verdict=tuple(verdict_sentences(verdict, unit, write)),
    )
