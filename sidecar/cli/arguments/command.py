"""What every command's help has in common."""

from __future__ import annotations

import argparse
from typing import Any

LISTEN_PORT = 9138
"""Where ``sidecar listen`` listens, and so where runs send unless told otherwise."""
COMMAND_PORT = 9139
"""Where a run listens for commands."""
OSC_ROOT = "/sidecar"
"""``osc.table.ROOT``, without loading the table."""


def add_command(commands: Any, name: str, summary: str, examples: str) -> argparse.ArgumentParser:
    """One command with its summary and its examples, a line each."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=summary,
        description=summary[0].upper() + summary[1:] + ".",
        epilog="examples:\n" + "\n".join("  " + line for line in examples.splitlines()),
    )
    return parser


def add_json(parser: argparse.ArgumentParser) -> None:
    """The option of commands that print a list."""
    parser.add_argument("--json", action="store_true", help="print one JSON array")


def add_osc_root(parser: Any, meaning: str) -> None:
    """The option of commands that speak OSC."""
    parser.add_argument("--osc-root", default=OSC_ROOT, metavar="/NAME", help=f"{meaning} ({OSC_ROOT})")


def add_contrast(parser: Any) -> None:
    """The option of commands that open the screen."""
    parser.add_argument(
        "--contrast",
        choices=("usual", "high"),
        default="usual",
        help="how far text is set off from its ground on the screen: 4.5:1, or high, 7:1",
    )
