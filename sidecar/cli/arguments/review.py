"""The options of ``sidecar review``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command, add_contrast


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "review",
        "a pass that is over, on the screen: look back, see what it needed",
        "sidecar review\nsidecar review 12\nsidecar review mix.wav --goal r128-s1",
    )
    parser.add_argument(
        "what",
        nargs="?",
        metavar="PASS|FILE",
        help="the id of a pass on record ('sidecar passes' lists them) or a sound file (the last pass)",
    )
    parser.add_argument(
        "--goal", metavar="G", help="a goal's name or a TOML file (the pass's own; for a file r128)"
    )
    parser.add_argument("--layout", metavar="L", help="the channels of a file, as for check")
    add_contrast(parser)
