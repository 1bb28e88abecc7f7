"""A matched set as a table, with a sentence for each file that needs one."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.text import Text

from sidecar.cli.results.match_outcome import MatchOutcome, limits, sentences
from sidecar.cli.terminal.foreign_text import unsteered
from sidecar.cli.terminal.table import open_table
from sidecar.delivery.match.gains import dynamics, over_ceiling_db, signed
from sidecar.model.readings import figure
from sidecar.settings.goals import Goal


def show(
    options: argparse.Namespace, outcomes: Sequence[MatchOutcome], goal: Goal, target_lufs: float
) -> None:
    console = Console(highlight=False)
    whose = f"as loud as {Path(options.like).name}" if options.like else goal.title
    how = ", one gain for the sequence" if options.sequence else ""
    table = open_table(unsteered(f"{whose}: {figure(target_lufs)} {goal.unit}{how}"))
    table.add_column("file", overflow="fold", min_width=12)
    for heading in (
        f"I\n{goal.unit}",
        "range\nLU",
        "peak\ndBTP",
        "gain\ndB",
        f"lands\n{goal.unit}",
        "peak\nthen",
    ):
        table.add_column(heading, justify="right", no_wrap=True)
    if options.write is not None:
        table.add_column(f"written\n{goal.unit}", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for outcome in outcomes:
        table.add_row(*_cells(outcome, goal, options.write is not None))
    console.print(table)
    for outcome in outcomes:
        for sentence in sentences(outcome, goal):
            console.print(unsteered(sentence), markup=False)
    for sentence in limits(outcomes, goal, target_lufs):
        console.print(unsteered(sentence), markup=False)
    differ = dynamics([o.reading for o in outcomes if o.reading], f"{figure(target_lufs)} {goal.unit}")
    if differ:
        console.print(differ, markup=False)


def _cells(outcome: MatchOutcome, goal: Goal, with_copy: bool) -> list[str | Text]:
    reading, level = outcome.reading, outcome.level
    cells: list[str | Text] = [Text(unsteered(outcome.path.name))]
    cells += (
        [figure(reading.integrated), figure(reading.loudness_range), figure(reading.max_true_peak)]
        if reading
        else [""] * 3
    )
    cells += [signed(level.gain_db), figure(level.landing), figure(level.true_peak)] if level else [""] * 3
    if with_copy:
        cells.append(figure(outcome.landed.integrated) if outcome.landed else "")
    return [*cells, _word(outcome, goal)]


def _word(outcome: MatchOutcome, goal: Goal) -> str:
    if outcome.reading is None:
        return "[bold]? unread[/bold]"
    if outcome.error:
        return "[bold]✗ not written[/bold]"
    if outcome.level is None:
        return "[bold]✗ silent[/bold]"
    if outcome.level.limited_by is not None:
        return f"[bold]✗ {outcome.level.limited_by}[/bold]"
    if over_ceiling_db(outcome.level, goal) > 0:
        return "[bold]✗ peak[/bold]"
    return "✓" if outcome.stands(goal) else "[bold]✗ off[/bold]"
