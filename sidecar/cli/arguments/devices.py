"""The options of ``sidecar devices``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command, add_json


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands, "devices", "the audio inputs that there are", "sidecar devices\nsidecar devices --json"
    )
    add_json(parser)
