"""``sidecar goals``: list the delivery goals."""

from __future__ import annotations

import argparse
import json
import math
import sys
from dataclasses import asdict

from rich.console import Console

from sidecar.cli.terminal.table import open_table
from sidecar.model.units import figure
from sidecar.settings.goals import Goal, all_goals, goal_faults
from sidecar.settings.locations import own_configs


def run(options: argparse.Namespace) -> int:
    """Prints all goals; those that cannot be read are named on the error output."""
    goals = all_goals()
    if options.json:
        print(json.dumps([_as_json(goal) for goal in goals], indent=1))
    else:
        _show(goals)
    for fault in goal_faults():
        print(f"sidecar: {fault}", file=sys.stderr)
    return 0


def _as_json(goal: Goal) -> dict[str, object]:
    fields = asdict(goal)
    return {
        key: None if isinstance(value, float) and math.isinf(value) else value
        for key, value in fields.items()
    }


def _show(goals: list[Goal]) -> None:
    table = open_table()
    for heading in ("name", "what for"):
        table.add_column(heading, overflow="fold")
    for heading in ("target", "passes", "ceiling\ndBTP", "max S"):
        table.add_column(heading, justify="right", no_wrap=True)
    for goal in goals:
        low = "any" if math.isinf(goal.lowest_lufs) else figure(goal.lowest_lufs)
        limit = "" if goal.max_short_term_lufs is None else figure(goal.max_short_term_lufs)
        table.add_row(
            goal.name,
            goal.title,
            f"{figure(goal.target_lufs)} {goal.unit}",
            f"{low} to {figure(goal.highest_lufs)}",
            figure(goal.ceiling_dbtp),
            limit,
        )
    Console(markup=False, emoji=False).print(table)
    print(f"Your own go into {own_configs() / 'goals'}, a TOML file each.")
