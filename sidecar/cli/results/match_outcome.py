"""What came of one file of a matched set, and of the set, as data and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sidecar.delivery.match.gains import Conflict, Level, Piece, Together
from sidecar.delivery.match.render import Carried
from sidecar.model.readings import Reading
from sidecar.model.units import json_number
from sidecar.settings.goals import Goal
from sidecar.wave.file_identity import FileIdentity

_LANDING_LU = 0.05
"""How far a copy may measure from what was worked out for it: half of the last digit shown."""


@dataclass(frozen=True, slots=True)
class MatchOutcome:
    """One file's line."""

    path: Path
    name: str = ""
    """The shortest name that differs from those of the others."""
    piece: Piece | None = None
    level: Level | None = None
    seen: FileIdentity | None = None
    """By what the file is known that was measured."""
    target: Path | None = None
    """Where its copy was written."""
    landed: Reading | None = None
    """What the copy measures."""
    copy_gain_db: float | None = None
    """The gain that the copy has."""
    carried: Carried = field(default_factory=Carried)
    """What the copy has not taken over."""
    off_goal: str = ""
    """Why its copy was not written: it would not pass."""
    notes: Sequence[str] = ()
    """What is odd about the file as a file; the sentences call it "it"."""
    error: str = ""

    @property
    def reading(self) -> Reading | None:
        return None if self.piece is None else self.piece.reading

    @property
    def gain_db(self) -> float:
        """That of the copy, or the one worked out."""
        planned = self.level.gain_db if self.level else 0.0
        return planned if self.copy_gain_db is None else self.copy_gain_db

    @property
    def missed_lu(self) -> float:
        """How far the copy landed from what was worked out."""
        if self.landed is None or self.level is None or self.landed.integrated == self.level.landing:
            return 0.0
        return abs(self.landed.integrated - self.level.landing)

    @property
    def is_off(self) -> bool:
        """True where the copy landed elsewhere than worked out, though it passes."""
        return self.missed_lu > _LANDING_LU

    @property
    def passes(self) -> bool:
        """True when the file meets the goal at its new level."""
        return not (self.error or self.off_goal) and self.level is not None and not self.level.broken

    @property
    def reaches_target(self) -> bool:
        """True when nothing is left to do: it passes, and its copy is whole and where it was to land."""
        return self.passes and not self.is_off and not self.carried.lost


@dataclass(frozen=True, slots=True)
class Matched:
    """A whole set."""

    outcomes: Sequence[MatchOutcome]
    goals: Sequence[Goal]
    """What every copy passes; the first has the target."""
    together: Together | None
    """How loud all could be at once."""
    before: Reading | None
    """The files in sequence as one programme; None without two of them, or where one is unread."""
    after: Reading | None
    """The same with the gains."""
    conflict: Conflict | None = None
    """Two files that a sequence's gain cannot serve."""
    unable: Sequence[MatchOutcome] = ()
    """Files of a sequence that no gain brings inside."""

    @property
    def goal(self) -> Goal:
        return self.goals[0]

    @property
    def measured(self) -> list[MatchOutcome]:
        """Those that were read: places in the set count these."""
        return [outcome for outcome in self.outcomes if outcome.piece is not None]


def as_json(file: str, outcome: MatchOutcome, matched: Matched) -> dict[str, Any]:
    """One file's object; *file* is its name as it was given."""
    if outcome.reading is None:
        return {"file": file, "error": outcome.error}
    reading, level, landed = outcome.reading, outcome.level, outcome.landed
    return {
        "file": file,
        "integrated_lufs": json_number(reading.integrated),
        "loudness_range_lu": json_number(reading.loudness_range),
        "max_true_peak_dbtp": json_number(reading.max_true_peak),
        "goal": matched.goal.name,
        "target_lufs": json_number(matched.goal.target_lufs),
        "wanted_db": level.wanted_db if level else None,
        "gain_db": level.gain_db if level else None,
        "landing_lufs": json_number(level.landing) if level else None,
        "landing_true_peak_dbtp": json_number(level.true_peak) if level else None,
        "limited_by": level.limited_by if level else None,
        "over_limit_db": level.over_db if level else None,
        "broken": list(level.broken) if level else ["silent"],
        "reaches_target": outcome.reaches_target,
        "written": str(outcome.target) if outcome.target else None,
        "written_gain_db": outcome.copy_gain_db,
        "written_lufs": json_number(landed.integrated) if landed else None,
        "written_true_peak_dbtp": json_number(landed.max_true_peak) if landed else None,
        "left_out": list(outcome.carried.left_out),
        "lost": list(outcome.carried.lost),
        "notes": list(outcome.notes),
        "set": _set(matched),
        **({"off_goal": outcome.off_goal} if outcome.off_goal else {}),
        **({"error": outcome.error} if outcome.error else {}),
    }


def _set(matched: Matched) -> dict[str, Any]:
    """What holds for all files, in the object of each."""
    all_at = matched.together
    return {
        "together_lufs": json_number(all_at.loudness) if all_at else None,
        "together_limited_by": all_at.limited_by if all_at else None,
        "together_limiting": str(matched.measured[all_at.limiting].path) if all_at else None,
        "programme": _programme(matched.before),
        "programme_then": _programme(matched.after),
    }


def _programme(reading: Reading | None) -> dict[str, Any] | None:
    if reading is None:
        return None
    return {
        "integrated_lufs": json_number(reading.integrated),
        "loudness_range_lu": json_number(reading.loudness_range),
        "max_true_peak_dbtp": json_number(reading.max_true_peak),
    }
