"""``sidecar passes``: lists, exports and deletes the passes on record."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console

from sidecar.cli.terminal.table import open_table
from sidecar.errors import SettingsError
from sidecar.journal import reader
from sidecar.journal.export import export, summary_fields
from sidecar.journal.record import Damaged, Summary
from sidecar.journal.schema import usual_file
from sidecar.loudness.limits import broken_limits
from sidecar.model.foreign_text import printable
from sidecar.model.readings import BLOCK_S
from sidecar.model.units import figure, h_mm_ss

DONE, DAMAGED = 0, 2


def run(options: argparse.Namespace) -> int:
    """Does what is asked, and else lists the passes; 2 where something of them is damaged."""
    code = DONE
    if (options.export is None) != (options.to is None):
        raise SettingsError("--export and --to go together, such as: --export 12 --to evening.csv")
    if options.export is not None:
        if os.path.lexists(options.to) and not options.replace:
            raise SettingsError(f"{options.to} exists already. Give --replace, or choose another name.")
        code = _export(options.export, Path(options.to))
    if options.delete:
        reader.delete(options.delete)
        print(f"Deleted: {', '.join(map(str, dict.fromkeys(options.delete)))}")
    if options.export is None and not options.delete:
        summaries = reader.passes()
        _list(summaries, as_json=options.json)
        code = DAMAGED if any(isinstance(summary, Damaged) for summary in summaries) else DONE
    return code


def _export(id: int, file: Path) -> int:
    """Writes the readable part of the pass, and reports what cannot be read."""
    record = reader.load(id, despite_damage=True)
    export(record, file)
    print(f"Written: {printable(str(file))}")
    if not record.damage:
        return DONE
    print(f"sidecar: Pass {id} is damaged: {record.damage}; the rest is written.", file=sys.stderr)
    return DAMAGED


def _list(summaries: Sequence[Summary | Damaged], *, as_json: bool) -> None:
    if as_json:
        print(json.dumps([summary_fields(summary) for summary in summaries], indent=1))
        return
    if not summaries:
        print("No pass on record yet. Measure one with sidecar live or sidecar rehearse.")
        return
    table = open_table()
    table.add_column("id", justify="right", no_wrap=True)
    table.add_column("began", no_wrap=True)
    table.add_column("source", overflow="fold", min_width=10)
    table.add_column("goal", no_wrap=True)
    for heading in ("length", "I", "range\nLU", "peak\ndBTP"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict", overflow="fold")
    for summary in summaries:
        table.add_row(*_cells(summary))
    Console(markup=False, emoji=False).print(table)
    print(f"Kept in {usual_file()}")


def _cells(summary: Summary | Damaged) -> tuple[str, ...]:
    if isinstance(summary, Damaged):
        return (
            "" if summary.id is None else str(summary.id),
            *("",) * 7,
            f"? damaged: {printable(summary.why)}",
        )
    about, reading = summary.about, summary.reading
    broken = broken_limits(reading, about.goal)
    return (
        str(summary.id),
        f"{summary.began.astimezone():%Y-%m-%d %H:%M}",
        printable(about.source),
        printable(about.goal.name),
        h_mm_ss(reading.seconds),
        figure(reading.integrated),
        figure(reading.loudness_range),
        figure(reading.max_true_peak),
        ("✗ " + ", ".join(broken) if broken else "✓ passes") + _holes(summary),
    )


def _holes(summary: Summary) -> str:
    """What the record of it has not got."""
    missing_s = summary.missing_blocks * BLOCK_S
    holes = ([] if summary.ended else ["no end"]) + ([f"{missing_s:.0f} s missing"] if missing_s else [])
    return f" ({', '.join(holes)})" if holes else ""
