"""What came of one file of a matched set, in sentences and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sidecar.cli.run.lines import number
from sidecar.delivery.match.gains import Level, limit_sentence, over_ceiling_db, peak_sentence
from sidecar.model.readings import Reading
from sidecar.settings.goals import Goal
from sidecar.wave.bext_write import Seen

_LANDING_LU = 0.05
"""How far a copy may measure from what was worked out for it: half of the last digit shown."""
_SILENT = "Nothing in it is louder than the gate at −70 LUFS: there is no loudness to match."


@dataclass(frozen=True, slots=True)
class MatchOutcome:
    """One file's line."""

    path: Path
    reading: Reading | None = None
    level: Level | None = None
    seen: Seen | None = None
    """By what the file is known that was measured."""
    target: Path | None = None
    """Where its copy was written."""
    landed: Reading | None = None
    """What the copy measures."""
    error: str = ""

    @property
    def missed_lu(self) -> float:
        """How far the copy landed from what was worked out."""
        if self.landed is None or self.level is None or self.landed.integrated == self.level.landing:
            return 0.0
        return abs(self.landed.integrated - self.level.landing)

    def stands(self, goal: Goal) -> bool:
        """True when the file is, or will be, where it was asked to be, and under the ceiling."""
        level = self.level
        return (
            not self.error
            and level is not None
            and level.limited_by is None
            and over_ceiling_db(level, goal) <= 0
            and self.missed_lu <= _LANDING_LU
        )


def sentences(outcome: MatchOutcome, goal: Goal) -> list[str]:
    """What is to be known about one file besides its figures."""
    name = outcome.path.name
    if outcome.error:
        return [outcome.error]
    if outcome.level is None:
        return [f"{name}: {_SILENT}"]
    said = [peak_sentence(outcome.level, goal)]
    if outcome.missed_lu > _LANDING_LU:
        said.append(f"Its copy landed {outcome.missed_lu:.2f} LU off. Measure the original again.")
    return [f"{name}: {sentence}" for sentence in said if sentence]


def limits(outcomes: Sequence[MatchOutcome], goal: Goal, target_lufs: float) -> list[str]:
    """What kept gains down, each said once: a sequence has one gain."""
    measured = [outcome for outcome in outcomes if outcome.reading is not None]
    levels = [outcome.level for outcome in measured if outcome.level is not None]
    said = [limit_sentence(level, goal, target_lufs, measured[level.limiting].path.name) for level in levels]
    return [sentence for sentence in dict.fromkeys(said) if sentence]


def as_json(file: str, outcome: MatchOutcome, goal: Goal, target_lufs: float) -> dict[str, Any]:
    """One file's object; *file* is its name as it was given."""
    if outcome.reading is None:
        return {"file": file, "error": outcome.error}
    reading, level, landed = outcome.reading, outcome.level, outcome.landed
    return {
        "file": file,
        "integrated_lufs": number(reading.integrated),
        "loudness_range_lu": number(reading.loudness_range),
        "max_true_peak_dbtp": number(reading.max_true_peak),
        "goal": goal.name,
        "target_lufs": number(target_lufs),
        "wanted_db": level.wanted_db if level else None,
        "gain_db": level.gain_db if level else None,
        "landing_lufs": number(level.landing) if level else None,
        "landing_true_peak_dbtp": number(level.true_peak) if level else None,
        "limited_by": level.limited_by if level else None,
        "over_limit_db": level.over_db if level else None,
        "stands": outcome.stands(goal),
        "written": str(outcome.target) if outcome.target else None,
        "written_lufs": number(landed.integrated) if landed else None,
        "written_true_peak_dbtp": number(landed.max_true_peak) if landed else None,
        **({"error": outcome.error} if outcome.error else {}),
    }
