"""A matched set as a table, with the sentences that it needs."""

from __future__ import annotations

import argparse
from pathlib import Path

from rich.console import Console
from rich.table import Table

from sidecar.cli.results.match_outcome import Matched, MatchOutcome
from sidecar.cli.results.match_sentences import sentences
from sidecar.cli.terminal.name_cell import NameCell
from sidecar.cli.terminal.table import open_table
from sidecar.delivery.match.gains import signed
from sidecar.model.foreign_text import printable
from sidecar.model.readings import Reading
from sidecar.model.units import figure


def show(options: argparse.Namespace, matched: Matched) -> None:
    """Prints it."""
    console = Console(highlight=False)
    with_copies = options.write is not None
    table = _table(options, matched)
    for outcome in matched.outcomes:
        table.add_row(NameCell(outcome.name), *_cells(outcome, with_copy=with_copies))
    if matched.before is not None:
        table.add_section()
        table.add_row("all in sequence", *_programme(matched, with_copy=with_copies))
    console.print(table)
    for sentence in sentences(matched, for_sequence=options.sequence):
        console.print(printable(sentence), markup=False)


def _table(options: argparse.Namespace, matched: Matched) -> Table:
    goal = matched.goal
    whose = f"as loud as {Path(options.like).name}" if options.like else goal.title
    if options.together:
        whose = f"{goal.title}, the loudest level for all together"
    how = ", one gain for the sequence" if options.sequence else ""
    table = open_table(printable(f"{whose}: {figure(goal.target_lufs)} {goal.unit}{how}"))
    table.add_column("file", min_width=8)
    headings = [f"I\n{goal.unit}", "range\nLU", "peak\ndBTP", "gain\ndB", f"lands\n{goal.unit}", "peak\nthen"]
    if options.write is not None:
        headings.append(f"written\n{goal.unit}")
    for heading in headings:
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    return table


def _cells(outcome: MatchOutcome, *, with_copy: bool) -> list[str]:
    """All but the name."""
    level = outcome.level
    cells = _figures(outcome.reading)
    cells += [signed(outcome.gain_db), figure(level.landing), figure(level.true_peak)] if level else [""] * 3
    if with_copy:
        cells.append(figure(outcome.landed.integrated) if outcome.landed else "")
    return [*cells, _word(outcome, with_copy=with_copy)]


def _programme(matched: Matched, *, with_copy: bool) -> list[str]:
    then = matched.after
    landing = [figure(then.integrated), figure(then.max_true_peak)] if then else [""] * 2
    return [*_figures(matched.before), "", *landing, *([""] if with_copy else []), ""]


def _figures(reading: Reading | None) -> list[str]:
    if reading is None:
        return [""] * 3
    return [figure(reading.integrated), figure(reading.loudness_range), figure(reading.max_true_peak)]


def _word(outcome: MatchOutcome, *, with_copy: bool) -> str:
    fault = _fault(outcome, with_copy=with_copy)
    return f"[bold]{fault}[/bold]" if fault else "✓"


def _fault(outcome: MatchOutcome, *, with_copy: bool) -> str:
    """The mark and word of what is wrong; empty where nothing is."""
    level = outcome.level
    broken, held_by = (level.broken, level.limited_by) if level else (("silent",), None)
    is_missing = bool(outcome.error or outcome.off_goal) or (with_copy and outcome.target is None)
    words = (
        ("? unread", outcome.reading is None),
        ("✗ silent", "silent" in broken),
        ("✗ damaged", "damage" in broken),
        (f"✗ {held_by or next(iter(broken), '')}", bool(broken)),
        ("✗ not written", is_missing),
        ("✗ off", outcome.is_off),
        ("✗ not all kept", bool(outcome.carried.lost)),
    )
    return next((word for word, holds in words if holds), "")
