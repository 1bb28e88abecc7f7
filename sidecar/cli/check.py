"""``sidecar check``: finished files against goals."""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from sidecar.cli.check_archive import check_archive
from sidecar.cli.check_archive_names import in_memory, named_files
from sidecar.cli.check_json import as_json, schema_text
from sidecar.cli.check_table import show
from sidecar.cli.log import kept_log
from sidecar.delivery.archive_work import refuse_irregular
from sidecar.delivery.checking import Checked, Outcome, Unread, check_file
from sidecar.delivery.report_facts import Signature
from sidecar.delivery.report_files import Reports
from sidecar.errors import SettingsError, SignalError, SourceError
from sidecar.goals import Goal, load_goal

PASS, FAIL, UNREADABLE = 0, 1, 2
_USUAL_GOAL = "r128"


def run(options: argparse.Namespace) -> int:
    """Measures every file; a broken one does not keep the others from being measured."""
    if options.json_schema:
        print(schema_text(), end="")
        return PASS
    if not (options.files or options.list or options.archive):
        raise SettingsError("No file is named. Name one or more: sidecar check mix.wav")
    goals = _goals(options.goal or [_USUAL_GOAL])
    names = named_files(options)
    if options.archive:
        return check_archive(options, names, goals)
    options.files = in_memory(options, names)
    reports = Reports(
        options.files,
        Signature.now(options.by),
        page=_path(options.report),
        plot=_path(options.plot),
        course=_path(options.csv),
    )

    processors = max(1, options.jobs or os.cpu_count() or 1)
    at_once = min(processors, len(options.files))
    workers = math.ceil(processors / at_once)

    def judged(place: int, tell: Callable[[float], None]) -> Outcome:
        file = options.files[place]
        try:
            refuse_irregular(file)
            checked = check_file(file, options.layout, goals, tell, workers)
            reports.write(place, checked)
        except (SourceError, SignalError) as error:
            return Unread(file, str(error))
        return checked

    with kept_log():
        outcomes = _each(options.files, judged, at_once)
    written = reports.finish(outcomes, goals)
    if options.json:
        print(json.dumps([as_json(outcome) for outcome in outcomes], indent=1))
    else:
        show(outcomes, goals)
        print("".join(f"Written: {path}\n" for path in written), end="")
    measured = [outcome for outcome in outcomes if isinstance(outcome, Checked)]
    if len(measured) < len(outcomes):
        return UNREADABLE
    return PASS if all(checked.passes for checked in measured) else FAIL


def _goals(names: Sequence[str]) -> list[Goal]:
    """Each once, in the order asked for."""
    return [load_goal(name) for name in dict.fromkeys(names)]


def _path(name: str | None) -> Path | None:
    return None if name is None else Path(name)


def _each(
    files: Sequence[str], work: Callable[[int, Callable[[float], None]], Outcome], at_once: int
) -> list[Outcome]:
    """What *work* gives for each file, in their order; *at_once* are worked on together."""
    bars = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )

    def shown(place: int) -> Outcome:
        bar = bars.add_task(Path(files[place]).name, total=1.0)
        try:
            return work(place, lambda share: bars.update(bar, completed=share))
        finally:
            bars.remove_task(bar)

    with bars, ThreadPoolExecutor(at_once) as pool:
        asked: dict[Future[Outcome], int] = {pool.submit(shown, place): place for place in range(len(files))}
        done = {asked[future]: future.result() for future in as_completed(asked)}
    return [done[place] for place in range(len(files))]
