"""``sidecar check``: finished files against goals."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sidecar.cli.arguments.named_files import in_memory, named_files
from sidecar.cli.results.check_json import as_json, schema_text
from sidecar.cli.results.check_table import show
from sidecar.cli.terminal.log import kept_log
from sidecar.cli.terminal.progress import Interrupted, each
from sidecar.delivery.judge.checking import Checked, Unread, check_file, extras, with_marked_dialogue
from sidecar.delivery.measure.dialogue import detector_version
from sidecar.delivery.measure.part import Scope, clock_of, marked_parts, part_between
from sidecar.errors import OutputError, SettingsError, SidecarError
from sidecar.model.foreign_text import printable
from sidecar.model.timecode import FRAME_RATES
from sidecar.settings.goals import USUAL_GOAL, Goal, load_goal
from sidecar.sources.sound_file import refuse_irregular

if TYPE_CHECKING:
    from sidecar.delivery.report.files import Reports

PASS, FAIL, UNREADABLE = 0, 1, 2


def run(options: argparse.Namespace) -> int:
    """Measures every file; a broken one does not keep the others from being measured."""
    if options.json_schema:
        print(schema_text(), end="")
        return PASS
    if not (options.files or options.list or options.archive):
        raise SettingsError("No file given. Give one or more: sidecar check mix.wav")
    _refuse_parts(options)
    if options.dialogue:
        detector_version()  # refuses what cannot be done before anything is measured
    goals = _goals(options.goal or [USUAL_GOAL])
    names = named_files(options)
    if options.archive:
        from sidecar.cli.commands.check_archive import check_archive  # what one file needs nothing of

        return check_archive(options, names, goals)
    options.files = in_memory(options, names)
    reports = _reports(options)

    parts: dict[int, list[Checked]] = {}

    def judged(place: int, report_share: Callable[[float], None], workers: int) -> Checked:
        file = options.files[place]
        path = Path(file)
        refuse_irregular(path)
        clock = clock_of(path, options.fps)
        part = part_between(path, options.from_, options.to, clock)
        checked = check_file(
            *(file, options.layout, goals, report_share, workers),
            also=extras(dialogue=options.dialogue, coding=options.encoded),
            scope=Scope(part, clock),
        )
        if options.parts:
            marked = marked_parts(path)
            checked = with_marked_dialogue(checked, marked)
            parts[place] = [
                check_file(file, options.layout, goals, workers=workers, scope=Scope(each, clock))
                for each in marked
            ]
        if reports:
            reports.write_report(place, checked)
        return checked

    try:
        with kept_log():
            done = each([Path(file) for file in options.files], judged, options.jobs)
    except Interrupted as interrupted:
        _show_measured(interrupted.done, goals, in_json=options.json)
        raise
    for outcome in done:
        if isinstance(outcome, OutputError):  # a report that cannot be written is no fault of the file
            raise outcome
    outcomes = [
        Unread(file, str(outcome)) if isinstance(outcome, SidecarError) else outcome
        for file, outcome in zip(options.files, done, strict=True)
    ]
    written = reports.write_index(outcomes, goals) if reports else []
    rows = [row for place, outcome in enumerate(outcomes) for row in (outcome, *parts.get(place, ()))]
    if options.json:
        print(json.dumps([as_json(row) for row in rows], indent=1))
    else:
        show(rows, goals)
        print("".join(f"Written: {printable(str(path))}\n" for path in written), end="")
    measured = [outcome for outcome in outcomes if isinstance(outcome, Checked)]
    if len(measured) < len(outcomes):
        return UNREADABLE
    return PASS if all(checked.passes for checked in measured) else FAIL


def _reports(options: argparse.Namespace) -> Reports | None:
    """Returns what writes the pages, drawings and tables that were asked for; None where none was."""
    page, plot, history = (_path(name) for name in (options.report, options.plot, options.csv))
    if not (page or plot or history):
        return None
    from sidecar.delivery.report.files import Reports  # a verdict needs no drawing
    from sidecar.delivery.report.signature import Signature

    return Reports(options.files, Signature.now(options.by), page=page, plot=plot, history=history)


def _refuse_parts(options: argparse.Namespace) -> None:
    """What cannot be combined, and a frame rate that there is not."""
    if options.fps and options.fps not in FRAME_RATES:
        raise SettingsError(f"--fps {options.fps}: use one of {', '.join(FRAME_RATES)}.")
    is_part = bool(options.from_ or options.to)
    if options.archive and (is_part or options.parts or options.fps):
        raise SettingsError("--archive keeps whole files only: leave out --from, --to, --parts and --fps.")
    if is_part and (options.parts or options.encoded):
        raise SettingsError("--from and --to measure one part: leave out --parts and --encoded.")


def _show_measured(
    done: Sequence[Checked | SidecarError | None], goals: Sequence[Goal], *, in_json: bool
) -> None:
    """Prints the results that were finished before Ctrl-C, and their number."""
    measured = [outcome for outcome in done if isinstance(outcome, Checked)]
    if in_json:
        print(json.dumps([as_json(outcome) for outcome in measured], indent=1))
    elif measured:
        show(measured, goals)
    print(f"Interrupted: {len(measured)} of {len(done)} files were measured.", file=sys.stderr)


def _goals(names: Sequence[str]) -> list[Goal]:
    """Each once, in the order asked for."""
    return [load_goal(name) for name in dict.fromkeys(names)]


def _path(name: str | None) -> Path | None:
    return None if name is None else Path(name)
