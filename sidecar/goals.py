"""Delivery goals: what a programme must measure to be accepted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Goal:
    """A delivery goal. Optional limits are None where the goal's document sets none."""

    name: str
    """Short name, the file's stem: what ``--goal`` takes."""
    title: str
    target_lufs: float
    tolerance_below_lu: float
    """How far under the target still passes; ``inf`` when only the upper side is limited."""
    tolerance_above_lu: float
    ceiling_dbtp: float
    hot_lufs: float
    """The hot line: short-term above it for ``hot_hold_s`` raises the alert ``hot``."""
    hot_hold_s: float = 1.0
    max_short_term_lufs: float | None = None
    max_momentary_lufs: float | None = None
    range_guide_lu: float | None = None
    """Guidance for the loudness range, never a reason to fail (Tech 3343 §3.3)."""
    unit: Literal["LUFS", "LKFS"] = "LUFS"
    source: str = ""
    """The document that the figures come from."""

    @property
    def lowest_lufs(self) -> float:
        """The lowest integrated loudness that passes."""
        return self.target_lufs - self.tolerance_below_lu

    @property
    def highest_lufs(self) -> float:
        """The highest integrated loudness that passes."""
        return self.target_lufs + self.tolerance_above_lu
