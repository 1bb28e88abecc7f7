"""The one move to show first: the screen, OSC, lines and lights all agree on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sidecar.model.readings import SILENCE, Move
from sidecar.model.snapshot import Snapshot, Stem

Scope = Literal["this pass", "next pass"]

MASTER = "master"
"""Name of the master fader where faders are given by name."""
ALL_STEMS = "all stems"
"""Replaces a name where all open stem faders are to be moved alike, as the master fader would."""
SEVERAL_STEMS = "several stems"
"""Replaces a name where some other set of stem faders is to be moved."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """A move, the fader it is for and the pass that it lands."""

    move: Move
    fader_db: float
    """Position of that fader."""
    scope: Scope
    stem: str = ""
    """The stem whose fader it is, the first of several; empty for the master fader."""
    moves: int = 1
    """How many faders are to be moved in all for this landing."""


def chosen(snapshot: Snapshot) -> Chosen:
    """Returns the move to show: a stem's before the programme's, that of the present pass before the next.

    A pass that ended cannot be landed any more. Where the stems cannot land the mix, the move is the
    master fader's, and its reason says what prevents it.
    """
    if not snapshot.stems:
        return _of_programme(snapshot)
    moved = _moved(snapshot.stems)
    stem = first_stem(moved)
    if stem is not None:
        is_this = snapshot.advice.lands_this_pass and not snapshot.is_pass_over
        return Chosen(
            stem.move, stem.fader_db, "this pass" if is_this else "next pass", stem.name, len(moved)
        )
    call = _of_programme(snapshot)
    obstacle = next((stem.move.reason for stem in snapshot.stems if not stem.move.is_quiet), "")
    if not obstacle:
        return call
    return replace(call, move=replace(call.move, reason=f"{obstacle} {call.move.reason}".rstrip()))


def _of_programme(snapshot: Snapshot) -> Chosen:
    advice = snapshot.advice
    if snapshot.is_pass_over:
        return Chosen(advice.from_top, snapshot.fader_db, "next pass")
    return Chosen(advice.move, snapshot.fader_db, "this pass" if advice.lands_this_pass else "next pass")


def chosen_move(snapshot: Snapshot) -> tuple[str, Move]:
    """Returns whose move it is, and the move.

    Of several stems it is their common one: its ``gain_db`` is the change that all of them share, and 0 where
    they differ, so that the move of one is never read as that of the mix.
    """
    call = chosen(snapshot)
    moved = _moved(snapshot.stems)
    if len(moved) < 2:
        return call.stem or MASTER, call.move
    gains_db = {stem.move.gain_db for stem in moved}
    if len(gains_db) > 1:
        return SEVERAL_STEMS, replace(call.move, gain_db=0.0)
    is_all = all(stem.move.gain_db or stem.fader_db == SILENCE for stem in snapshot.stems)
    return ALL_STEMS if is_all else SEVERAL_STEMS, call.move


def programme_gain_db(snapshot: Snapshot) -> float:
    """Returns what the master fader is to do, dB, as an outlet shows it that names no fader: 0 where only
    some of the stems are to be moved."""
    name, move = chosen_move(snapshot)
    return move.gain_db if name in (MASTER, ALL_STEMS) else 0.0


def stem_gains_db(stems: Sequence[Stem]) -> dict[str, float]:
    """Returns the move of every stem by its name, dB; 0 where its fader stays."""
    return {stem.name: stem.move.gain_db for stem in stems}


def first_stem(stems: Sequence[Stem]) -> Stem | None:
    """The stem with the largest move, the first of equals; None when none is to be moved."""
    return max(_moved(stems), key=lambda stem: abs(stem.move.gain_db), default=None)


def _moved(stems: Sequence[Stem]) -> list[Stem]:
    return [stem for stem in stems if stem.move.gain_db]
