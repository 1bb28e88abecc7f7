"""The options of ``sidecar passes``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command, add_json


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "passes",
        "the passes on record; exports and deletes them",
        "sidecar passes\nsidecar passes --export 12 --to evening.csv\nsidecar passes --delete 12",
    )
    add_json(parser)
    parser.add_argument("--export", type=int, metavar="ID", help="write that pass to the file --to")
    parser.add_argument("--to", metavar="FILE", help="a .csv file, a row each 100 ms; or .json, all of it")
    parser.add_argument(
        "--delete",
        type=int,
        action="append",
        metavar="ID",
        help="forget that pass; may be repeated",
    )
