"""``sidecar check --archive``: many files, on record one by one, judged afresh each time."""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from itertools import chain
from pathlib import Path
from textwrap import indent
from typing import Any

from rich.console import Console

from sidecar.cli.arguments.named_files import NOTHING
from sidecar.cli.results.archive_board import Board
from sidecar.cli.results.archive_changes import print_changes
from sidecar.cli.results.archive_summary import Count, print_count, print_outcomes
from sidecar.cli.results.check_json import as_json
from sidecar.cli.terminal.first_run import compile_once
from sidecar.cli.terminal.log import kept_log
from sidecar.delivery.batch.cluster import Cluster
from sidecar.delivery.batch.packing import without_history
from sidecar.delivery.batch.processes import MeasuringProcesses
from sidecar.delivery.batch.store import Change, Due, Store
from sidecar.delivery.batch.work import Job, Result, meter_version
from sidecar.delivery.judge.checking import Checked, Outcome, Unread
from sidecar.delivery.report.files import Reports
from sidecar.delivery.report.signature import Signature
from sidecar.errors import SettingsError, SourceError
from sidecar.settings.goals import Goal

PASS, FAIL, UNREADABLE = 0, 1, 2
_SYNC_S, _SYNC_FILES = 1.0, 32
"""Most seconds and files of results that a power cut can lose."""


def check_archive(options: argparse.Namespace, names: Iterable[str], goals: Sequence[Goal]) -> int:
    """Measures the files that are new or changed, then prints the results of all from the record."""
    if options.encoded:
        raise SettingsError("--encoded keeps no results: leave out --archive, or check fewer files.")
    _asked(options, [])  # refuses what cannot be written before anything is measured
    job = Job(
        options.layout,
        tuple(goals),
        meter_version(with_dialogue=options.dialogue),
        with_digest=options.checksum,
        with_dialogue=options.dialogue,
    )
    with kept_log(), Store(Path(options.archive), job) as store:
        is_first = not store.files_on_record
        if options.forget:
            _forget(store)
        count = store.ask(names) if options.files or options.list else store.ask_for_all()
        if not count:
            raise SettingsError(NOTHING)
        due = store.find_due()
        _measure(store, due, job, options)
        return _print_results(store, options, goals, is_first=is_first)


def _forget(store: Store) -> None:
    forgotten = store.forget_gone()
    count = "1 file that is gone" if forgotten == 1 else f"{forgotten:,} files that are gone"
    print(f"Forgotten: {count if forgotten else 'nothing, for no file is gone'}.", file=sys.stderr)


def _measure(store: Store, due: Due, job: Job, options: argparse.Namespace) -> None:
    if not due.files:
        return
    try:
        if not options.cluster:
            compile_once(Console(stderr=True))
        crew = Cluster(options.cluster, job) if options.cluster else _crew(due, job, options.jobs)
        with Board(due) as board, closing(crew.results(store.due())) as results:
            for result in _synced(store, results):
                board.draw_progress(crew.at_work_on, result)
    except KeyboardInterrupt:
        print("Interrupted. The results so far are kept. The same command continues.", file=sys.stderr)
        raise


def _crew(due: Due, job: Job, jobs: int) -> MeasuringProcesses:
    """A process a processor; where there are fewer files, those share the processors."""
    processors = max(1, jobs or os.cpu_count() or 1)
    at_once = min(processors, due.files)
    return MeasuringProcesses(replace(job, workers=math.ceil(processors / at_once)), at_once)


def _synced(store: Store, results: Iterator[Result | None]) -> Iterator[Result | None]:
    """Yields the results unchanged, each stored before, and synced to the disk at short intervals."""
    waiting, synced = 0, time.monotonic()
    for result in results:
        if result is not None:
            store.keep(result)
            waiting += 1
        if waiting >= _SYNC_FILES or (waiting and time.monotonic() - synced >= _SYNC_S):
            store.sync()
            waiting, synced = 0, time.monotonic()
        yield result


def _print_results(
    store: Store, options: argparse.Namespace, goals: Sequence[Goal], *, is_first: bool
) -> int:
    """Prints all results from the record, a file at a time, and writes pages of the files that fail; returns
    the exit code."""
    count = Count()
    if options.json:
        _print_array(_as_objects(store, count, is_first=is_first))
    else:
        print_outcomes(_counted(store.outcomes(), count), goals)
    if not is_first:
        gone = store.gone_unasked()
        named = map(_from_here, gone) if options.files or options.list else gone
        changes = chain(store.changes(), (Change(file, "gone") for file in named))
        print_changes(changes, goals[0].unit, sys.stderr if options.json else sys.stdout)
    written = _reports(store, count, options, goals)
    if not options.json:
        print_count(count, written)
    if count.unread:
        return UNREADABLE
    return FAIL if count.failing else PASS


def _from_here(file: str) -> str:
    """A path below the present folder as seen from there, as the files of a run usually are named."""
    here = Path.cwd()
    return str(Path(file).relative_to(here)) if Path(file).is_relative_to(here) else file


def _reports(store: Store, count: Count, options: argparse.Namespace, goals: Sequence[Goal]) -> list[Path]:
    """Pages and drawings of the files that fail, and an index that lists those that could not be read."""
    places = sorted((*count.failing, *count.unread))
    if not (options.report or options.plot or options.csv):
        return []
    names = [store.outcome(place).file for place in places]
    reports = _asked(options, names, unlisted=count.passed)
    outcomes: list[Outcome] = []
    for at, place in enumerate(places):
        outcome = store.outcome(place)
        if isinstance(outcome, Checked):
            outcome = _written(reports, at, outcome)
        outcomes.append(outcome)
    return reports.write_index(outcomes, goals)


def _written(reports: Reports, at: int, checked: Checked) -> Outcome:
    """What the index needs of it once its own page is written."""
    try:
        reports.write_report(at, checked)
    except SourceError as error:
        return Unread(checked.file, str(error))
    return replace(checked, measured=without_history(checked.measured))


def _asked(options: argparse.Namespace, files: Sequence[str], unlisted: int = 0) -> Reports:
    page, plot, history = (
        None if name is None else Path(name) for name in (options.report, options.plot, options.csv)
    )
    return Reports(files, Signature.now(options.by), page=page, plot=plot, history=history, unlisted=unlisted)


def _counted(outcomes: Iterable[tuple[int, Outcome]], count: Count) -> Iterator[Outcome]:
    for place, outcome in outcomes:
        count.add(place, outcome)
        yield outcome


def _as_objects(store: Store, count: Count, *, is_first: bool) -> Iterator[dict[str, Any]]:
    """Each file as :func:`as_json` has it, and since the second run what became of it."""
    for place, outcome in store.outcomes():
        count.add(place, outcome)
        since = None if is_first else store.since(place)
        yield {**as_json(outcome), **({"since_last_run": since} if since else {})}


def _print_array(objects: Iterator[dict[str, Any]]) -> None:
    """As ``json.dumps(…, indent=1)`` prints a list that need not be in memory."""
    before = "[\n"
    for each in objects:
        print(before + indent(json.dumps(each, indent=1), " "), end="")
        before = ",\n"
    print("\n]")
