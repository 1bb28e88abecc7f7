"""A copy of one file of a matched set: written only when it passes a check for the goals."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from sidecar.delivery.judge.verdict import judge
from sidecar.delivery.match.gains import room_of
from sidecar.delivery.match.render import Copy, Terms, render
from sidecar.delivery.measure.whole_file import Measured
from sidecar.errors import SidecarError
from sidecar.model.readings import SILENCE
from sidecar.settings.goals import Goal

_CORRECTIONS = 2
"""Ours: what dither and rounding add to a quiet file is small after one."""
_LEAST_DB = 0.005
_OFF_LU = 0.05
"""Half of the last digit shown: a copy that passes farther off than this is brought nearer all the same."""
_SHORT_WORDS = ("PCM_S8", "PCM_U8")


class OffGoal(SidecarError):
    """A copy that a check would refuse, and that was not written for that."""


class _Refused(Exception):
    def __init__(self, measured: Measured) -> None:
        self.measured = measured


def write_copy(
    source: Path,
    target: Path,
    gain_db: float,
    goals: Sequence[Goal],
    terms: Terms,
    *,
    may_correct: bool = True,
    progress: Callable[[float], None] = lambda _share: None,
) -> tuple[Copy, float]:
    """Writes the copy; gives it and the gain it has.

    may_correct: a copy that dither carried off the goal is written anew with the gain that makes up for it;
    False where the gain belongs to a whole sequence.
    Raises OffGoal when the copy would not pass, SourceError or OutputError where it cannot be made.
    """

    corrections = _CORRECTIONS if may_correct else 0

    def accept(measured: Measured) -> None:
        is_off = abs(_correction(measured, goals)) > _OFF_LU
        if not all(judge(measured, goal).passes for goal in goals) or (is_off and corrections):
            raise _Refused(measured)

    checked = replace(terms, accept=accept)
    while True:
        try:
            return render(source, target, gain_db, progress, checked), gain_db
        except _Refused as refused:
            step = _correction(refused.measured, goals)
            if not corrections or abs(step) < _LEAST_DB:
                raise OffGoal(_why(source, refused.measured, goals)) from None
            gain_db, corrections = round(gain_db + step, 2), corrections - 1


def _correction(measured: Measured, goals: Sequence[Goal]) -> float:
    """The further gain that brings a copy to the target, or as near as the limits let it."""
    reading = measured.reading
    if reading.integrated == SILENCE:
        return 0.0
    return min(goals[0].target_lufs - reading.integrated, room_of(reading, goals))


def _why(source: Path, measured: Measured, goals: Sequence[Goal]) -> str:
    faults = dict.fromkeys(
        finding.sentence
        for goal in goals
        for finding in judge(measured, goal).findings
        if finding.kind == "fault"
    )
    words = " ".join(faults)
    if measured.facts.encoding in _SHORT_WORDS:
        words += " Rounding and dither to 8 bits are too loud: convert the file to 24 bits first."
    return f"{source}: its copy would fail, so none was written. {words}"
