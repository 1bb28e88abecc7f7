"""The options of ``sidecar doctor``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.options.command import add_command


def add(commands: Any) -> None:
    """Adds the command."""
    add_command(commands, "doctor", "what is there and what is missing on this machine", "sidecar doctor")
