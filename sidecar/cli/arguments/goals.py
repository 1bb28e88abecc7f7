"""The options of ``sidecar goals``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command, add_json


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands, "goals", "the delivery goals that there are", "sidecar goals\nsidecar goals --json"
    )
    add_json(parser)
