"""One file from its name to its verdicts."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import astuple, dataclass, fields, replace
from pathlib import Path
from typing import Literal, get_args

from sidecar.delivery.judge.coding_note import coding_note
from sidecar.delivery.judge.dialogue_note import dialogue_note, dialogue_notes
from sidecar.delivery.judge.findings import Finding
from sidecar.delivery.judge.verdict import Verdict, judge
from sidecar.delivery.measure.coding import Coded, coded
from sidecar.delivery.measure.dialogue import FileDialogue, detected_dialogue, marked_dialogue
from sidecar.delivery.measure.fingerprint import Fingerprint
from sidecar.delivery.measure.part import WHOLE, Part, Scope
from sidecar.delivery.measure.whole_file import Measured, measure
from sidecar.errors import SourceError
from sidecar.model.readings import Reading
from sidecar.model.units import figure
from sidecar.settings.goals import Goal, load_goal
from sidecar.wave.bext import Claimed, read_loudness
from sidecar.wave.file_identity import FileIdentity, changed, seen_of, unchanged

Extra = Literal["dialogue", "coding"]
"""What is measured only where it is asked for: how loud the dialogue is, what lossy coding makes of peaks."""
_EXTRA_TIME = 9.0
"""How much longer each takes than all the rest, roughly."""
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
    dialogue: tuple[FileDialogue, ...] = ()
    """Its dialogue by each of the ways that were asked for: detected in it, and named by its cue markers."""

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
    dialogue: bool = False,
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
    dialogue
        Whether speech is searched for as well, and its loudness measured: :attr:`Checked.dialogue`. It takes
        ten times as long.

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
    MissingPackage
        The dialogue is asked for, and the package that finds speech is not installed.
    """
    goals = [each if isinstance(each, Goal) else load_goal(each) for each in (goal, *more_goals)]
    return check_file(os.fspath(path), layout, goals, progress, workers, also=extras(dialogue=dialogue))


def extras(*, dialogue: bool = False, coding: bool = False) -> tuple[Extra, ...]:
    """Returns those of the extras that are asked for."""
    asked: dict[Extra, bool] = {"dialogue": dialogue, "coding": coding}
    return tuple(extra for extra, is_asked in asked.items() if is_asked)


def check_file(
    file: str,
    layout: str | None,
    goals: Sequence[Goal],
    progress: Callable[[float], None] = lambda _share: None,
    workers: int | None = None,
    *,
    also: Collection[Extra] = (),
    scope: Scope = WHOLE,
) -> Checked:
    """Measures one file and judges it; *progress* and *workers* are as in the measuring.

    also: what else is measured; each takes several times as long as all the rest.
    scope: which frames are measured, and how times in them are written.

    Raises SourceError for a file that cannot be read or that changes meanwhile, SignalError for one that
    cannot be measured.
    """
    path = Path(file)
    times = (1.0, *(_EXTRA_TIME * (extra in also) for extra in get_args(Extra)))
    stages = _Stages(progress, times)
    with unchanged(path) as seen:
        measured = measure(path, layout, stages.progress(0), workers=workers, scope=scope)
        notes = () if scope.part else tuple(_claims(path, measured.reading))
        dialogue: tuple[FileDialogue, ...] = ()
        if "dialogue" in also:
            dialogue = (detected_dialogue(measured, scope.part, stages.progress(1), workers=workers),)
        made = coded(path, layout, stages.progress(2), workers=workers) if "coding" in also else None
    verdicts = []
    for goal in goals:
        before_dbtp = measured.reading.max_true_peak
        coding = () if made is None else (coding_note(made, before_dbtp, goal, scope.clock),)
        verdicts.append(judge(measured, goal, (*notes, *dialogue_notes(dialogue, goal), *coding)))
    return Checked(file, measured, tuple(verdicts), seen, notes, made, scope.part, dialogue)


def with_marked_dialogue(checked: Checked, parts: Sequence[Part]) -> Checked:
    """Returns the same with how loud a whole file is in the parts that its cue markers name dialogue."""
    marked = marked_dialogue(checked.measured, parts)
    if marked is None:
        return checked
    verdicts = tuple(
        replace(verdict, findings=(*verdict.findings, dialogue_note(marked.loudness, verdict.goal)))
        for verdict in checked.verdicts
    )
    return replace(checked, verdicts=verdicts, dialogue=(*checked.dialogue, marked))


class _Stages:
    """The progress of several works after each other as that of one."""

    def __init__(self, progress: Callable[[float], None], times: Sequence[float]) -> None:
        """times: how long each takes, in any unit."""
        self._progress, self._times = progress, times

    def progress(self, stage: int) -> Callable[[float], None]:
        """What one of the works calls with the share that is done of it."""
        before, own, whole = sum(self._times[:stage]), self._times[stage], sum(self._times)
        return lambda done: self._progress((before + done * own) / whole)


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
