"""The one move to show first: the screen, OSC, lines and lights all agree on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sidecar.model.readings import Move
from sidecar.model.snapshot import Snapshot, Stem

Scope = Literal["this pass", "next pass"]

PROGRAMME = "programme"
"""Name of the programme fader where faders are given by name."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """A move, the fader it is for and the pass that it lands."""

    move: Move
    fader_db: float
    """Where that fader stands."""
    scope: Scope
    stem: str = ""
    """The stem whose fader it is; empty for the programme fader."""
    moves: int = 1
    """How many faders are to be moved in all for this landing."""


def chosen(snapshot: Snapshot) -> Chosen:
    """Returns the move to show: a stem's before the programme's, that of the present pass before the next.

    A pass that ended cannot be landed any more; moves of stems land a whole pass of the material.
    """
    stem = first_stem(snapshot.stems)
    if stem is not None:
        moves = sum(not one.move.is_quiet for one in snapshot.stems)
        return Chosen(stem.move, stem.fader_db, "next pass", stem.name, moves)
    if snapshot.this_pass is None or snapshot.transport == "ended":
        return Chosen(snapshot.next_pass, snapshot.fader_db, "next pass")
    return Chosen(snapshot.this_pass, snapshot.fader_db, "this pass")


def chosen_move(snapshot: Snapshot) -> tuple[str, Move]:
    """The fader's name, a stem's or PROGRAMME, and the move."""
    call = chosen(snapshot)
    return call.stem or PROGRAMME, call.move


def first_stem(stems: Sequence[Stem]) -> Stem | None:
    """The stem with the largest move, the first of equals; None when none has anything to do."""
    called = [stem for stem in stems if not stem.move.is_quiet]
    return max(called, key=lambda stem: abs(stem.move.gain_db), default=None)
