"""The options of ``sidecar doctor``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "doctor",
        "what is there and what is missing on this machine",
        "sidecar doctor\nsidecar doctor --tone\nsidecar doctor --tone --device pulse --play-to default",
    )
    parser.add_argument(
        "--tone",
        action="store_true",
        help="play the line-up tone (1 kHz, −23 LUFS, 5 s, audible, after a warning), measure what returns",
    )
    parser.add_argument(
        "--device", metavar="NAME", help="with --tone: the input to listen to (the likeliest loopback)"
    )
    parser.add_argument(
        "--play-to",
        metavar="OUTPUT",
        help="with --tone: part of an output's name (that of the input, or the system's own)",
    )
