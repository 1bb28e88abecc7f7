"""``sidecar stamp``: what a WAV file measures, written into its own loudness fields."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from rich.console import Console

from sidecar.cli.terminal.log import kept_log
from sidecar.cli.terminal.name_cell import NameCell
from sidecar.cli.terminal.progress import ProgressCallback, each
from sidecar.cli.terminal.table import open_table
from sidecar.delivery.distinct_names import distinct_names
from sidecar.delivery.judge.verdict import judge
from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import SidecarError, SourceError
from sidecar.model.foreign_text import printable
from sidecar.settings.goals import Goal, load_goal
from sidecar.sources.sound_file import refuse_irregular
from sidecar.wave.bext import Claimed, read_loudness
from sidecar.wave.bext_write import prepare, stamp
from sidecar.wave.chunks import is_wave, naming
from sidecar.wave.file_identity import unchanged

DONE, NOT_ALL, FAULTY = 0, 1, 2

Done = Literal["in place", "copied", "right already", "to be written", "off goal"]

_WORDS: dict[Done, str] = {
    "in place": "✓ stamped",
    "copied": "✓ stamped",
    "right already": "✓ right already",
    "to be written": "would stamp",
    "off goal": "[bold]✗ off goal[/bold]",
}
_MEASURING = 0.9  # of the bar; the rest is for writing


@dataclass(frozen=True, slots=True)
class StampOutcome:
    """What one file claimed, what it measures, and what was done about it."""

    before: Claimed | None
    now: Claimed
    done: Done
    notes: tuple[str, ...] = ()
    """What is odd about the file."""


def run(options: argparse.Namespace) -> int:
    """Measures each file and writes its fields; one that cannot be done does not keep the others waiting."""
    goal = load_goal(options.goal) if options.goal else None
    paths = [Path(file) for file in options.files]

    def one(place: int, on_progress: ProgressCallback, workers: int) -> StampOutcome:
        return _stamped(paths[place], options, goal, on_progress, workers)

    with kept_log():
        outcomes = each(paths, one, options.jobs)
    if options.json:
        print(json.dumps([_as_json(*pair) for pair in zip(options.files, outcomes, strict=True)], indent=1))
    else:
        _show(paths, outcomes, goal)
    if any(isinstance(outcome, SidecarError) for outcome in outcomes):
        return FAULTY
    return NOT_ALL if any(isinstance(o, StampOutcome) and o.done == "off goal" for o in outcomes) else DONE


def _stamped(
    path: Path,
    options: argparse.Namespace,
    goal: Goal | None,
    on_progress: ProgressCallback,
    workers: int,
) -> StampOutcome:
    refuse_irregular(path)
    if path.stat().st_size == 0:
        raise SourceError(f"{path} is empty: no audio frames. Export or copy it again.")
    with naming(path):
        if not is_wave(path):
            raise SourceError(
                "only WAV, RF64 and BW64 files have loudness fields (EBU Tech 3285). Convert it first. It "
                "is unchanged."
            )
    if not options.dry_run:
        prepare(path)
    with unchanged(path) as seen:
        before = read_loudness(path)
        measured = measure(
            path, options.layout, lambda share: on_progress(_MEASURING * share), workers=workers
        )
    now, notes = Claimed.from_reading(measured.reading), tuple(remark.sentence for remark in measured.remarks)
    if goal is not None and not judge(measured, goal).passes:
        return StampOutcome(before, now, "off goal", notes)
    if now == (before or Claimed()):
        return StampOutcome(before, now, "right already", notes)
    if options.dry_run:
        return StampOutcome(before, now, "to be written", notes)
    how = stamp(path, now, seen, lambda share: on_progress(_MEASURING + (1.0 - _MEASURING) * share))
    if (read_loudness(path) or Claimed()) != now:
        raise SourceError(f"{path}: the fields on disk differ from those written. Check the disk.")
    return StampOutcome(before, now, how, notes)


def _as_json(file: str, outcome: StampOutcome | SidecarError) -> dict[str, Any]:
    if isinstance(outcome, SidecarError):
        return {"file": file, "error": str(outcome)}
    return {
        "file": file,
        "claimed": _fields(outcome.before) if outcome.before else None,
        "measured": _fields(outcome.now),
        "done": outcome.done,
        "notes": list(outcome.notes),
    }


def _fields(claimed: Claimed) -> dict[str, float | None]:
    return {
        "integrated_lufs": claimed.integrated,
        "loudness_range_lu": claimed.loudness_range,
        "max_true_peak_dbtp": claimed.max_true_peak,
        "max_momentary_lufs": claimed.max_momentary,
        "max_short_term_lufs": claimed.max_short_term,
    }


def _show(paths: Sequence[Path], outcomes: Sequence[StampOutcome | SidecarError], goal: Goal | None) -> None:
    console = Console(highlight=False)
    table = open_table()
    table.add_column("file", min_width=8)
    table.add_column("", no_wrap=True)
    for heading in ("I\nLUFS", "range\nLU", "peak\ndBTP", "max M\nLUFS", "max S\nLUFS"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    names = distinct_names(paths)
    for name, outcome in zip(names, outcomes, strict=True):
        if isinstance(outcome, SidecarError):
            table.add_row(NameCell(name), *[""] * 6, "[bold]? failed[/bold]")
            continue
        table.add_row(NameCell(name), "claimed", *_cells(outcome.before or Claimed()))
        table.add_row("", "measures", *_cells(outcome.now), _WORDS[outcome.done])
    console.print(table)
    for name, outcome in zip(names, outcomes, strict=True):
        if isinstance(outcome, SidecarError):
            console.print(printable(str(outcome)), markup=False)
            continue
        for note in outcome.notes:
            console.print(f"{printable(name)}: {note}", markup=False)
        if outcome.done == "off goal" and goal is not None:
            console.print(
                f"{printable(name)}: It does not meet {goal.title} and is unchanged. sidecar check --goal "
                f"{goal.name} gives the reasons.",
                markup=False,
            )


def _cells(claimed: Claimed) -> list[str]:
    """At the fields' own two decimals."""
    values = asdict(claimed).values()
    return ["–" if value is None else f"{value:.2f}".replace("-", "−") for value in values]
