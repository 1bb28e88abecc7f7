"""What stays in the terminal when a run has ended, or its screen was left: four lines, or one JSON object."""

from __future__ import annotations

import math
from typing import Any

from sidecar.loudness.dialogue_guides import in_words
from sidecar.loudness.limits import find_verdict
from sidecar.model.dialogue import dialogue_fields
from sidecar.model.foreign_text import printable
from sidecar.model.snapshot import Snapshot
from sidecar.model.units import figure, h_mm_ss
from sidecar.model.verdict import verdict_sentences


def closing_lines(snapshot: Snapshot, pass_id: int | None) -> tuple[str, ...]:
    """Returns the pass, what it read, the verdict with the move for the next pass, and where it can be looked
    at again; nothing where nothing was measured.

    pass_id: its number on record; None where it is not.
    """
    reading, goal = snapshot.reading, snapshot.goal
    if reading.seconds <= 0.0:
        return ()
    number = "Not on record" if pass_id is None else f"Pass {pass_id}"
    verdict = "Passes" if find_verdict(reading, goal).passes else "Fails"
    return (
        f"{number}: {_measured(snapshot)}",
        _figures(snapshot),
        f"{verdict}: {_found(snapshot)}.{_next_pass(snapshot)}",
        _look_back(pass_id),
    )


def parting_lines(snapshot: Snapshot, place: str) -> tuple[str, ...]:
    """Returns what stays where a screen on the run at *place* was left; nothing of it is final."""
    if snapshot.reading.seconds <= 0.0:
        return ()
    return (
        f"So far: {_measured(snapshot)}",
        _figures(snapshot),
        f"Nearest limit or beyond it: {_found(snapshot)}.",
        f"The run at {place} is not ended by this: sidecar screen --attach {place}",
    )


def _measured(snapshot: Snapshot) -> str:
    length = h_mm_ss(snapshot.reading.seconds).removeprefix("0:").removeprefix("0")
    return f"{length} of {printable(snapshot.source)}, goal {printable(snapshot.goal.name)}"


def _figures(snapshot: Snapshot) -> str:
    reading = snapshot.reading
    dialogue = f", {in_words(snapshot.dialogue, snapshot.goal)}" if snapshot.dialogue else ""
    return (
        f"Integrated {figure(reading.integrated)} {snapshot.goal.unit}, "
        f"range {figure(reading.loudness_range)} LU, true peak {figure(reading.max_true_peak)} dBTP"
        f"{dialogue}"
    )


def _found(snapshot: Snapshot) -> str:
    verdict = find_verdict(snapshot.reading, snapshot.goal)
    return "; ".join(verdict_sentences(verdict, snapshot.goal.unit))


def closing_object(snapshot: Snapshot, pass_id: int | None) -> dict[str, Any]:
    """Returns the same as fields of a JSON object; empty where nothing was measured."""
    reading, goal = snapshot.reading, snapshot.goal
    if reading.seconds <= 0.0:
        return {}
    verdict = find_verdict(reading, goal)
    return {
        "type": "pass",
        "pass": pass_id,
        "seconds": round(reading.seconds, 3),
        "goal": goal.name,
        "integrated_lufs": _number(reading.integrated),
        "loudness_range_lu": _number(reading.loudness_range),
        "max_true_peak_dbtp": _number(reading.max_true_peak),
        "passes": verdict.passes,
        "verdict": list(verdict_sentences(verdict, goal.unit)),
        "next_pass_gain_db": _gain_db(snapshot),
        **({"dialogue": dialogue_fields(snapshot.dialogue)} if snapshot.dialogue else {}),
    }


def _look_back(pass_id: int | None) -> str:
    if pass_id is None:
        return "Look back at passes on record: sidecar passes"
    return f"Look back: sidecar review {pass_id} (all passes: sidecar passes)"


def _next_pass(snapshot: Snapshot) -> str:
    gain_db = _gain_db(snapshot)
    if gain_db is None:
        return ""
    way = "up" if gain_db > 0.0 else "down"
    change = "no change" if gain_db == 0.0 else f"{way} {figure(abs(gain_db))} dB"
    return f" Next: {change}{' (monitors down first)' if gain_db > 0.0 else ''}."


def _gain_db(snapshot: Snapshot) -> float | None:
    """The change of the master fader that lands a whole pass, dB; None where it is not known."""
    move = snapshot.advice.from_top
    return round(move.gain_db, 1) + 0.0 if math.isfinite(move.landing) else None


def _number(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
