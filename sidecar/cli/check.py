"""``sidecar check``: finished files against a goal."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from sidecar.cli.lines import number
from sidecar.cli.log import kept_log
from sidecar.delivery.measure import Measured, measure
from sidecar.delivery.verdict import Verdict, judge
from sidecar.errors import SidecarError
from sidecar.goals import Goal, load_goal
from sidecar.vocabulary import figure

PASS, FAIL, UNREADABLE = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Outcome:
    """One file's line: measured and judged, or an error in words."""

    file: str
    measured: Measured | None = None
    verdict: Verdict | None = None
    error: str = ""


def run(options: argparse.Namespace) -> int:
    """Measures every file; a broken one does not keep the others from being measured."""
    goal = load_goal(options.goal)
    with kept_log():
        outcomes = _measure_all(options.files, options.layout, goal, options.jobs or os.cpu_count() or 1)
    if options.json:
        print(json.dumps([_as_json(outcome, goal) for outcome in outcomes], indent=1))
    else:
        _show(outcomes, goal)
    if any(outcome.error for outcome in outcomes):
        return UNREADABLE
    return PASS if all(o.verdict and o.verdict.passes for o in outcomes) else FAIL


def _measure_all(files: Sequence[str], layout: str | None, goal: Goal, jobs: int) -> list[Outcome]:
    """Outcomes in the order of *files*."""
    bars = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )
    with bars, ThreadPoolExecutor(max(1, jobs)) as pool:
        asked: dict[Future[Outcome], int] = {
            pool.submit(_outcome, file, layout, goal, bars): place for place, file in enumerate(files)
        }
        outcomes = {asked[done]: done.result() for done in as_completed(asked)}
    return [outcomes[place] for place in range(len(files))]


def _outcome(file: str, layout: str | None, goal: Goal, bars: Progress) -> Outcome:
    bar = bars.add_task(Path(file).name, total=1.0)
    try:
        measured = measure(Path(file), layout, lambda share: bars.update(bar, completed=share))
    except SidecarError as error:
        return Outcome(file, error=str(error))
    finally:
        bars.remove_task(bar)
    return Outcome(file, measured, judge(measured.reading, goal))


def _as_json(outcome: Outcome, goal: Goal) -> dict[str, Any]:
    measured, verdict = outcome.measured, outcome.verdict
    if measured is None or verdict is None:
        return {"file": outcome.file, "error": outcome.error}
    reading = measured.reading
    return {
        "file": outcome.file,
        "sample_rate": measured.sample_rate,
        "channels": measured.channels,
        "layout": measured.layout,
        "seconds": round(reading.seconds, 3),
        "integrated_lufs": number(reading.integrated),
        "loudness_range_lu": number(reading.loudness_range),
        "max_momentary_lufs": number(reading.max_momentary),
        "max_short_term_lufs": number(reading.max_short_term),
        "max_true_peak_dbtp": number(reading.max_true_peak),
        "true_peak_dbtp": [number(peak) for peak in reading.true_peak],
        "sample_peak_dbfs": number(reading.sample_peak),
        "peak_to_loudness_lu": number(measured.peak_to_loudness_lu),
        "bad_samples": reading.bad_samples,
        "goal": goal.name,
        "passes": verdict.passes,
        "findings": list(verdict.findings),
        "move_db": verdict.move_db,
    }


def _show(outcomes: Sequence[Outcome], goal: Goal) -> None:
    console = Console(soft_wrap=False)
    table = Table(
        title=f"{goal.title}: {figure(goal.target_lufs)} {goal.unit}",
        title_justify="left",
        box=SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
    )
    table.add_column("file", overflow="fold", min_width=12)
    for heading in ("length", f"I\n{goal.unit}", "range\nLU", "max S", "max M", "peak\ndBTP", "move\ndB"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict", no_wrap=True, min_width=8)
    for outcome in outcomes:
        table.add_row(*_cells(outcome))
    console.print(table)
    for outcome in outcomes:
        findings = (outcome.error,) if outcome.error else outcome.verdict.findings if outcome.verdict else ()
        for finding in findings:
            console.print(f"{Path(outcome.file).name}: {finding}", markup=False, highlight=False)


def _cells(outcome: Outcome) -> tuple[str, ...]:
    measured, verdict = outcome.measured, outcome.verdict
    name = Path(outcome.file).name
    if measured is None or verdict is None:
        return (name, *[""] * 7, "[bold]? unread[/bold]")
    reading = measured.reading
    return (
        name,
        _length(reading.seconds),
        figure(reading.integrated),
        figure(reading.loudness_range),
        figure(reading.max_short_term),
        figure(reading.max_momentary),
        figure(reading.max_true_peak),
        "" if verdict.move_db is None else f"{verdict.move_db:+.1f}".replace("-", "−"),
        "✓ passes" if verdict.passes else "[bold]✗ fails[/bold]",
    )


def _length(seconds: float) -> str:
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"
