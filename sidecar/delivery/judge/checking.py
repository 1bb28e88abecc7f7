"""One file from its name to its verdicts."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path

from sidecar.delivery.judge.coding_note import coding_note
from sidecar.delivery.judge.findings import Finding
from sidecar.delivery.judge.verdict import Verdict, judge
from sidecar.delivery.measure.coding import Coded, coded
from sidecar.delivery.measure.fingerprint import Fingerprint
from sidecar.delivery.measure.part import WHOLE, Part, Scope
from sidecar.delivery.measure.whole_file import Measured, measure
from sidecar.errors import SourceError
from sidecar.model.readings import Reading
from sidecar.model.units import figure
from sidecar.settings.goals import Goal, load_goal
from sidecar.wave.bext import Claimed, read_loudness
from sidecar.wave.file_identity import FileIdentity, changed, seen_of, unchanged

_MEASURING_SHARE = 0.1
"""Of the time that coding takes besides, roughly."""
_CLAIM_TOLERANCE = 0.1
"""Ours, LU or dB: the finest that is shown (Tech 3341 §2.8), ten steps of the field."""


@dataclass(frozen=True, slots=True)
class Checked:
    """A file that was measured, with a verdict for each goal."""

    file: str
    """As it was named."""
    measured: Measured
    """What it measures."""
    verdicts: tuple[Verdict, ...]
    """One a goal, in the order in which they were given."""
    seen: FileIdentity
    """By what it is known to be still the file that was measured."""
    from_file: tuple[Finding, ...] = ()
    """Notes that were read in the file itself; all other findings can be had again from what was measured."""
    coded: tuple[Coded, ...] | None = None
    """What lossy coders make of it; None where that was not asked for."""
    part: Part | None = None
    """What of it was measured; None where that is all."""

    @property
    def passes(self) -> bool:
        """True when it meets every goal."""
        return all(verdict.passes for verdict in self.verdicts)


@dataclass(frozen=True, slots=True)
class Unread:
    """A file that could not be measured, and why, in words."""

    file: str
    error: str


Outcome = Checked | Unread


def check(
    path: str | os.PathLike[str],
    goal: Goal | str,
    *more_goals: Goal | str,
    layout: str | None = None,
    progress: Callable[[float], None] = lambda _share: None,
    workers: int | None = None,
) -> Checked:
    """Measures a sound file once and holds it against one goal or several.

    Parameters
    ----------
    path
        As for :func:`measure`.
    goal, *more_goals
        Goals, or names and files as :func:`load_goal` takes them.
    layout, progress, workers
        As for :func:`measure`.

    Returns
    -------
    Checked
        What it measures and a verdict for each goal; it passes where it meets all of them. The rules are this
        program's reading of the goal's figures: what the receiving broadcaster specifies goes before.

    Raises
    ------
    SettingsError
        There is no such goal, or its file cannot be used.
    SourceError
        The file cannot be read to its end, or was changed while it was measured.
    SignalError
        It cannot be measured.
    """
    goals = [each if isinstance(each, Goal) else load_goal(each) for each in (goal, *more_goals)]
    return check_file(os.fspath(path), layout, goals, progress, workers)


def check_file(
    file: str,
    layout: str | None,
    goals: Sequence[Goal],
    progress: Callable[[float], None] = lambda _share: None,
    workers: int | None = None,
    *,
    with_coding: bool = False,
    scope: Scope = WHOLE,
) -> Checked:
    """Measures one file and judges it; *progress* and *workers* are as in the measuring.

    with_coding: also what lossy coding makes of its peaks, which takes several times as long.
    scope: which frames are measured, and how times in them are written.

    Raises SourceError for a file that cannot be read or that changes meanwhile, SignalError for one that
    cannot be measured.
    """
    path = Path(file)
    with unchanged(path) as seen:
        share = _MEASURING_SHARE if with_coding else 1.0
        measured = measure(*(path, layout, lambda done: progress(done * share)), workers=workers, scope=scope)
        notes = () if scope.part else tuple(_claims(path, measured.reading))
        made = _coded(path, layout, progress, workers) if with_coding else None
    verdicts = []
    for goal in goals:
        before_dbtp = measured.reading.max_true_peak
        coding = () if made is None else (coding_note(made, before_dbtp, goal, scope.clock),)
        verdicts.append(judge(measured, goal, (*notes, *coding)))
    return Checked(file, measured, tuple(verdicts), seen, notes, made, scope.part)


def _coded(
    path: Path, layout: str | None, progress: Callable[[float], None], workers: int | None
) -> tuple[Coded, ...]:
    rest = 1.0 - _MEASURING_SHARE
    return coded(path, layout, lambda done: progress(_MEASURING_SHARE + done * rest), workers=workers)


def known_by(checked: Checked) -> Fingerprint:
    """By what the file that was measured can be known again.

    Raises SourceError when it cannot be read any more, or is another by now.
    """
    path = Path(checked.file)
    fingerprint = Fingerprint.of(path)
    if checked.seen != seen_of(path):
        raise changed(path)
    return fingerprint


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
            fields(claimed), astuple(claimed), astuple(Claimed.from_reading(reading)), strict=True
        )
        if says is not None and reads is not None and abs(says - reads) > _CLAIM_TOLERANCE + 1e-9
    ]
    if wrong:
        yield Finding("note", "claims", f"The loudness fields of the file are wrong: {', '.join(wrong)}.")
