"""What ``sidecar check`` shows in a terminal: a row a file, and what was found below."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from sidecar.cli.terminal.name_cell import NameCell
from sidecar.cli.terminal.table import open_table
from sidecar.delivery.distinct_names import distinct_names
from sidecar.delivery.judge.checking import Outcome, Unread
from sidecar.delivery.judge.findings import MARKS
from sidecar.delivery.judge.remedy import gain_figure
from sidecar.delivery.judge.verdict import Verdict, findings_by_goal, note_count
from sidecar.meter.layouts import ORIGIN_WORDS
from sidecar.model.foreign_text import printable
from sidecar.model.readings import MOMENTARY_S, SHORT_TERM_S
from sidecar.model.units import figure, h_mm_ss, window_figure
from sidecar.settings.goals import Goal


def show(outcomes: Sequence[Outcome], goals: Sequence[Goal]) -> None:
    """Prints the table and the findings, at whatever width the terminal has."""
    console = Console(highlight=False)
    unit = goals[0].unit
    table = open_table("\n".join(f"{goal.title}: {figure(goal.target_lufs)} {goal.unit}" for goal in goals))
    table.add_column("file", min_width=8)
    loudness = (f"I\n{unit}", "range\nLU", f"max S\n{unit}", f"max M\n{unit}")
    for heading in ("length", *loudness, "peak\ndBTP", "move\ndB"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict", no_wrap=True, min_width=8)
    names = [
        name if isinstance(outcome, Unread) or outcome.part is None else f"{name} [{outcome.part.name}]"
        for name, outcome in zip(
            distinct_names([outcome.file for outcome in outcomes]), outcomes, strict=True
        )
    ]
    for name, outcome in zip(names, outcomes, strict=True):
        table.add_row(NameCell(name), *_cells(outcome))
    console.print(table)
    if layouts := _layouts(outcomes):
        console.print(Text(layouts))
    for name, outcome in zip(names, outcomes, strict=True):
        _show_findings(console, name, outcome)
    if any((verdict.move_db or 0.0) > 0 for outcome in outcomes for verdict in _verdicts(outcome)):
        console.print("\nTurn the monitors down before you play a raised file.")


def _layouts(outcomes: Sequence[Outcome]) -> str:
    """What the channels were measured as, and where that comes from."""
    measured = [outcome.measured for outcome in outcomes if not isinstance(outcome, Unread)]
    counts = Counter((each.layout, each.layout_from) for each in measured)
    if not counts:
        return ""
    if len(counts) == 1:
        ((layout, origin),) = counts
        return f"Layout: {layout}, {ORIGIN_WORDS[origin]}."
    each = (f"{layout}, {ORIGIN_WORDS[origin]} ({count})" for (layout, origin), count in counts.items())
    return f"Layouts: {'; '.join(each)}."


def _verdicts(outcome: Outcome) -> tuple[Verdict, ...]:
    return () if isinstance(outcome, Unread) else outcome.verdicts


def _cells(outcome: Outcome) -> tuple[str | Text, ...]:
    """All but the name."""
    if isinstance(outcome, Unread):
        return (*[""] * 7, "[bold]? unread[/bold]")
    reading = outcome.measured.reading
    several = len(outcome.verdicts) > 1
    return (
        h_mm_ss(reading.seconds),
        figure(reading.integrated),
        window_figure(reading.loudness_range, SHORT_TERM_S, reading.seconds),
        window_figure(reading.max_short_term, SHORT_TERM_S, reading.seconds),
        window_figure(reading.max_momentary, MOMENTARY_S, reading.seconds),
        figure(reading.max_true_peak),
        "\n".join("" if v.move_db is None else gain_figure(v.move_db) for v in outcome.verdicts),
        Text("\n")
        .join(_stand(verdict, several) for verdict in outcome.verdicts)
        .append(_notes(outcome.verdicts)),
    )


def _stand(verdict: Verdict, several: bool) -> Text:
    """Passes or fails; with several goals which of them."""
    mark, word = ("✓", "passes") if verdict.passes else ("✗", "fails")
    return Text(f"{mark} {verdict.goal.name if several else word}", "" if verdict.passes else "bold")


def _notes(verdicts: Sequence[Verdict]) -> str:
    """Their mark and their number; empty where there is nothing to look at."""
    count = note_count(verdicts)
    return f" {MARKS['note']}{count}" if count else ""


def _show_findings(console: Console, name: str, outcome: Outcome) -> None:
    rows = list(_rows(outcome))
    if not rows:
        return
    console.print(Text(f"\n{printable(name)}", "bold"))
    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=1)
    grid.add_column(overflow="fold")
    for mark, words in rows:
        grid.add_row(mark, Text(printable(words)))
    console.print(grid)


def _rows(outcome: Outcome) -> Iterator[tuple[str, str]]:
    """Marks and words."""
    if isinstance(outcome, Unread):
        yield "?", outcome.error
        return
    for goal, finding in findings_by_goal(outcome.verdicts):
        yield MARKS[finding.kind], f"{goal}: {finding.sentence}" if goal else finding.sentence
        if finding.places:
            yield "", finding.places
