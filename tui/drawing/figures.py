"""The figures of a run in one line, to be pasted into a message or a log."""

from __future__ import annotations

from sidecar.loudness.dialogue_guides import in_words
from sidecar.model.snapshot import Snapshot
from tui.drawing import wording


def figures(snapshot: Snapshot) -> str:
    """Returns time, every measure with its unit, and the goal."""
    reading, goal = snapshot.reading, snapshot.goal
    parts = (
        wording.clock(reading.seconds),
        f"integrated {wording.plain(reading.integrated)} {goal.unit}",
        f"range {wording.plain(reading.loudness_range)} LU",
        f"max short-term {wording.plain(reading.max_short_term)} {goal.unit}",
        f"max momentary {wording.plain(reading.max_momentary)} {goal.unit}",
        f"true peak {wording.plain(reading.max_true_peak)} dBTP",
        f"PLR {wording.plain(reading.plr_lu)} LU",
        *([in_words(snapshot.dialogue, goal)] if snapshot.dialogue else []),
        f"goal {goal.name} {wording.plain(goal.target_lufs)} {goal.unit}",
    )
    return ", ".join(parts)
