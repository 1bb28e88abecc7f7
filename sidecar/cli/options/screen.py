"""The options of ``sidecar screen``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.options.command import COMMAND_PORT, add_command


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "screen",
        "the screen alone, on a sidecar that runs elsewhere",
        "sidecar screen\nsidecar screen --attach 192.168.1.20:9139",
    )
    parser.add_argument(
        "--attach",
        default=f"127.0.0.1:{COMMAND_PORT}",
        metavar="HOST:PORT",
        help=f"where that sidecar takes commands (127.0.0.1:{COMMAND_PORT})",
    )
