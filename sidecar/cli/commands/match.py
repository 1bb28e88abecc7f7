"""``sidecar match``: a set of files to one loudness, as figures or as copies."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from sidecar.cli.results.match_outcome import MatchOutcome, as_json
from sidecar.cli.results.match_table import show
from sidecar.cli.terminal.log import kept_log
from sidecar.cli.terminal.progress import Told, each
from sidecar.delivery.match.gains import Piece, match_sequence, match_singly
from sidecar.delivery.match.render import copies, render
from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import SettingsError, SidecarError, SourceError
from sidecar.model.readings import SILENCE
from sidecar.settings.goals import Goal, load_goal
from sidecar.wave.bext_write import Seen
from sidecar.wave.file_identity import unchanged

DONE, NOT_ALL, FAULTY = 0, 1, 2

CAUTION = (
    "Caution: raised gain can hurt ears and loudspeakers. "
    "Turn the monitors down before you play what was raised."
)


def run(options: argparse.Namespace) -> int:
    """Measures the set, works out the gains, and writes the copies where asked to."""
    goal = load_goal(options.goal)
    paths = [Path(file) for file in options.files]
    targets = _targets(options, paths)
    with kept_log():
        target_lufs = _target(options, goal)
        outcomes = _levelled(options, paths, goal, target_lufs)
        if targets:
            outcomes = _written(options, outcomes, targets)
    if options.json:
        print(
            json.dumps(
                [as_json(*pair, goal, target_lufs) for pair in zip(options.files, outcomes, strict=True)],
                indent=1,
            )
        )
    else:
        show(options, outcomes, goal, target_lufs)
    if any(outcome.level and outcome.level.gain_db > 0 for outcome in outcomes):
        Console(stderr=options.json, highlight=False).print(CAUTION)
    if any(outcome.error for outcome in outcomes):
        return FAULTY
    return DONE if all(outcome.stands(goal) for outcome in outcomes) else NOT_ALL


def _targets(options: argparse.Namespace, paths: Sequence[Path]) -> list[Path | SourceError]:
    """Where each copy goes; nothing where none is wanted."""
    if options.write is None:
        if options.replace:
            raise SettingsError("--replace is about copies: give --write FOLDER with it.")
        return []
    folder = Path(options.write)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SettingsError(f"--write {folder}: {error.strerror}. Name a folder that can be made.") from error
    kept = [*paths, *([Path(options.like)] if options.like else [])]
    return copies(paths, folder, kept, options.replace)


def _target(options: argparse.Namespace, goal: Goal) -> float:
    if options.like is None:
        return goal.target_lufs
    reference = Path(options.like)
    (piece,) = _pieces([reference], options)
    if isinstance(piece, SidecarError):
        raise piece
    integrated = piece[0].reading.integrated
    if integrated == SILENCE:
        raise SourceError(f"{reference} is silent: there is no loudness in it to match. Choose another.")
    return integrated


def _pieces(paths: Sequence[Path], options: argparse.Namespace) -> list[tuple[Piece, Seen] | SidecarError]:
    """Each file measured, and by what it is known."""

    def measured(place: int, tell: Told, workers: int) -> tuple[Piece, Seen]:
        with unchanged(paths[place]) as seen:
            return Piece.of(measure(paths[place], options.layout, tell, workers=workers)), seen

    return each(paths, measured, options.jobs)


def _levelled(
    options: argparse.Namespace, paths: Sequence[Path], goal: Goal, target_lufs: float
) -> list[MatchOutcome]:
    pieces = _pieces(paths, options)
    match = match_sequence if options.sequence else match_singly
    read = [piece[0] for piece in pieces if not isinstance(piece, SidecarError)]
    levels = iter(match(read, goal, target_lufs))
    return [
        MatchOutcome(path, error=str(piece))
        if isinstance(piece, SidecarError)
        else MatchOutcome(path, piece[0].reading, next(levels), piece[1])
        for path, piece in zip(paths, pieces, strict=True)
    ]


def _written(
    options: argparse.Namespace, outcomes: Sequence[MatchOutcome], targets: Sequence[Path | SourceError]
) -> list[MatchOutcome]:
    if options.sequence and any(outcome.error for outcome in outcomes):
        kept = "is not written: the gain of a sequence needs all of its files."
        return [
            outcome if outcome.error else replace(outcome, error=f"{outcome.path} {kept}")
            for outcome in outcomes
        ]

    def write(place: int, tell: Told, workers: int) -> MatchOutcome:
        outcome, target = outcomes[place], targets[place]
        if outcome.level is None:
            return outcome
        if isinstance(target, SourceError):
            raise target
        gain_db, seen = outcome.level.gain_db, outcome.seen
        landed = render(outcome.path, target, gain_db, options.layout, tell, workers, seen)
        return replace(outcome, target=target, landed=landed.reading)

    done = each([outcome.path for outcome in outcomes], write, options.jobs)
    return [
        replace(outcome, error=str(one)) if isinstance(one, SidecarError) else one
        for outcome, one in zip(outcomes, done, strict=True)
    ]
