"""One file from its name to its verdicts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path

from sidecar.delivery.bext import Claimed, read_loudness
from sidecar.delivery.findings import Finding
from sidecar.delivery.measure import Measured, measure
from sidecar.delivery.verdict import Verdict, judge
from sidecar.errors import SidecarError, SourceError
from sidecar.goals import Goal
from sidecar.vocabulary import Reading, figure

_CLAIM_TOLERANCE = 0.1
"""Ours, LU or dB: the finest that is shown (Tech 3341 §2.8), ten steps of the field."""


@dataclass(frozen=True, slots=True)
class Checked:
    """A file with a verdict for each goal; or the error in words for which it has none."""

    file: str
    measured: Measured | None = None
    verdicts: tuple[Verdict, ...] = ()
    error: str = ""

    @property
    def passes(self) -> bool:
        """True when it was measured and meets every goal."""
        return bool(self.verdicts) and all(verdict.passes for verdict in self.verdicts)


def check_file(
    file: str, layout: str | None, goals: Sequence[Goal], progress: Callable[[float], None]
) -> Checked:
    """Measures one file and judges it; what goes wrong is told in the outcome and not raised."""
    try:
        measured = measure(Path(file), layout, progress)
    except SidecarError as error:
        return Checked(file, error=str(error))
    claims = list(_claims(Path(file), measured.reading))
    return Checked(file, measured, tuple(judge(measured, goal, claims) for goal in goals))


def _claims(path: Path, reading: Reading) -> Iterator[Finding]:
    """What a broadcast wave file says of itself must be true (R 128 p))."""
    try:
        claimed = read_loudness(path)
    except SourceError as error:
        yield Finding("note", "claims", f"Its own loudness fields cannot be read: {error}")
        return
    if claimed is None:
        return
    wrong = [
        f"{field.name.replace('_', ' ')} {figure(says)} where {figure(reads)} was measured"
        for field, says, reads in zip(
            fields(claimed), astuple(claimed), astuple(Claimed.of(reading)), strict=True
        )
        if says is not None and reads is not None and abs(says - reads) > _CLAIM_TOLERANCE + 1e-9
    ]
    if wrong:
        yield Finding(
            "note", "claims", f"What the file says of its own loudness is wrong: {', '.join(wrong)}."
        )
