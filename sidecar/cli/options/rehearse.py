"""The options of ``sidecar rehearse``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.options.command import add_command
from sidecar.cli.options.running import add_pace, add_run_options


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "rehearse",
        "the whole job on a built-in programme with a simulated fader; needs no audio device",
        "sidecar rehearse\nsidecar rehearse --goal a85\nsidecar rehearse --no-screen --json --for 10",
    )
    add_run_options(parser)
    add_pace(parser)
