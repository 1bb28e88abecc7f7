"""``sidecar match``: a set of files to one loudness, as figures or as copies."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path, PurePath

from rich.console import Console

from sidecar.cli.arguments.match_files import found_files
from sidecar.cli.results.match_outcome import Matched, MatchOutcome, as_json
from sidecar.cli.results.match_sentences import out_of_set
from sidecar.cli.results.match_table import show
from sidecar.cli.terminal.log import kept_log
from sidecar.cli.terminal.progress import ProgressCallback, each
from sidecar.delivery.distinct_names import distinct_names
from sidecar.delivery.judge.rules import rule_findings
from sidecar.delivery.match.checked_copy import OffGoal, write_copy
from sidecar.delivery.match.copy_places import copy_places
from sidecar.delivery.match.gains import (
    OneGain,
    Piece,
    as_loud_as,
    match_sequence,
    match_singly,
    programme,
    together,
)
from sidecar.delivery.match.render import Terms
from sidecar.delivery.measure.whole_file import Measured, measure
from sidecar.errors import OutputError, SettingsError, SidecarError, SourceError
from sidecar.model.readings import SILENCE
from sidecar.settings.goals import USUAL_GOAL, Goal, load_goal
from sidecar.wave.file_identity import FileIdentity, unchanged

DONE, NOT_ALL, FAULTY = 0, 1, 2

CAUTION = (
    "Caution: raised gain can hurt ears and loudspeakers. Turn the monitors down before you play a raised "
    "file."
)
_OF_THE_FORMAT = frozenset(("sample rate", "bit depth", "layout"))
"""What a delivery rule is about that no gain changes."""
_Found = tuple[Piece, FileIdentity, str, tuple[str, ...]]
_WHOLE_SET = "No copy written: the gain of a sequence needs all of its files."


def run(options: argparse.Namespace) -> int:
    """Measures the set, works out the gains, and writes the copies where asked to."""
    _refuse_contradictions(options)
    goal = load_goal(options.goal or USUAL_GOAL)
    found = found_files(options, None if options.write is None else Path(options.write))
    paths = [Path(file) for file in found]
    targets = _targets(options, paths, [*found.values()])
    with kept_log():
        goals = _goals(options, goal)
        matched = _levelled(options, paths, goals)
        if targets:
            matched = replace(matched, outcomes=_written(options, matched, targets))
    if options.json:
        pairs = zip(found, matched.outcomes, strict=True)
        print(json.dumps([as_json(*pair, matched) for pair in pairs], indent=1))
    else:
        show(options, matched)
    if any(outcome.level and outcome.level.gain_db > 0 for outcome in matched.outcomes):
        Console(stderr=options.json, highlight=False).print(CAUTION)
    if any(outcome.error for outcome in matched.outcomes):
        return FAULTY
    return DONE if all(outcome.reaches_target for outcome in matched.outcomes) else NOT_ALL


def _refuse_contradictions(options: argparse.Namespace) -> None:
    if options.write is None and options.replace:
        raise SettingsError("--replace is for copies: give --write FOLDER too.")
    if options.together and (options.sequence or options.like):
        raise SettingsError("--together finds its own loudness: leave out --sequence and --like.")


def _targets(
    options: argparse.Namespace, paths: Sequence[Path], below: Sequence[PurePath]
) -> list[Path | SourceError]:
    """Where each copy goes; nothing where none is wanted."""
    if options.write is None:
        return []
    folder = Path(options.write)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"--write {folder}: {error.strerror}. Name a folder that can be made.") from error
    kept = [*paths, *([Path(options.like)] if options.like else [])]
    return copy_places(paths, below, folder, kept, options.replace)


def _goals(options: argparse.Namespace, goal: Goal) -> list[Goal]:
    """What every copy must pass, the one with the target first."""
    if options.like is None:
        return [goal]
    reference = Path(options.like)
    (piece,) = _pieces([reference], options, goal)
    if isinstance(piece, SidecarError):
        raise piece
    integrated = piece[0].reading.integrated
    if integrated == SILENCE:
        raise SourceError(f"{reference} is silent and has no loudness to match. Choose another.")
    return [as_loud_as(goal, integrated), *([goal] if options.goal else [])]


def _pieces(paths: Sequence[Path], options: argparse.Namespace, goal: Goal) -> list[_Found | SidecarError]:
    """Each file measured, by what it is known, what no gain corrects in it, and what is odd about it."""

    def measured(place: int, on_progress: ProgressCallback, workers: int) -> _Found:
        with unchanged(paths[place]) as seen:
            found = measure(paths[place], options.layout, on_progress, workers=workers)
        notes = tuple(remark.sentence for remark in found.remarks)
        return Piece.of(found), seen, _beyond_gain(paths[place], found, goal), notes

    return each(paths, measured, options.jobs)


def _beyond_gain(path: Path, measured: Measured, goal: Goal) -> str:
    """The delivery rules of the goal that the file breaks at any level, in words."""
    found = rule_findings(measured, goal.delivery) if goal.delivery else ()
    said = " ".join(finding.sentence for finding in found if finding.about in _OF_THE_FORMAT)
    return f"{path}: {said}" if said else ""


def _levelled(options: argparse.Namespace, paths: Sequence[Path], goals: Sequence[Goal]) -> Matched:
    measured = _pieces(paths, options, goals[-1])
    pieces = [one[0] for one in measured if not isinstance(one, SidecarError)]
    all_at = together(pieces, goals)
    if options.together and all_at is not None:
        goals = [as_loud_as(goals[0], min(all_at.loudness, goals[0].target_lufs)), *goals]
    one_gain = match_sequence(pieces, goals) if options.sequence else OneGain(match_singly(pieces, goals))
    left = iter(zip(pieces, one_gain.levels, strict=True))
    outcomes = []
    for path, name, one in zip(paths, distinct_names(paths), measured, strict=True):
        if isinstance(one, SidecarError):
            outcomes.append(MatchOutcome(path, name, error=str(one)))
        else:
            outcomes.append(MatchOutcome(path, name, *next(left), one[1], off_goal=one[2], notes=one[3]))
    before = after = None
    if len(pieces) > 1 and len(pieces) == len(paths):
        before = programme(pieces, [0.0] * len(pieces))
        after = programme(pieces, [level.gain_db if level else 0.0 for level in one_gain.levels])
    read = [outcome for outcome in outcomes if outcome.piece is not None]
    unable = [read[place] for place in one_gain.unable]
    return Matched(outcomes, goals, all_at, before, after, one_gain.conflict, unable)


def _written(
    options: argparse.Namespace, matched: Matched, targets: Sequence[Path | SourceError]
) -> list[MatchOutcome]:
    outcomes = matched.outcomes
    if options.sequence and any(map(out_of_set, outcomes)):
        return [outcome if outcome.error else replace(outcome, off_goal=_WHOLE_SET) for outcome in outcomes]

    def write(place: int, on_progress: ProgressCallback, workers: int) -> MatchOutcome:
        outcome, target = outcomes[place], targets[place]
        if not outcome.passes or outcome.level is None:
            return outcome
        if isinstance(target, SourceError):
            raise target
        try:
            copy, gain_db = write_copy(
                outcome.path,
                target,
                outcome.level.gain_db,
                matched.goals,
                Terms(options.layout, workers, outcome.seen),
                may_correct=not options.sequence,
                progress=on_progress,
            )
        except OffGoal as error:
            return replace(outcome, off_goal=str(error))
        return replace(
            outcome,
            target=target,
            landed=copy.measured.reading,
            copy_gain_db=gain_db,
            carried=copy.carried,
        )

    done = each([outcome.path for outcome in outcomes], write, options.jobs)
    return [
        replace(outcome, error=str(one)) if isinstance(one, SidecarError) else one
        for outcome, one in zip(outcomes, done, strict=True)
    ]
