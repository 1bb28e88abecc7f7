"""The options of ``sidecar check``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.options.command import add_command


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "check",
        "measures finished files against a goal",
        "sidecar check mix.wav\n"
        "sidecar check --goal a85 --json *.wav\n"
        "sidecar check --layout L,R,Ls,Rs,C,LFE mix.wav",
    )
    parser.description += (  # type: ignore[operator]
        " Ends with 0 when all pass, 1 when some fail, 2 when something could not be read."
    )
    parser.add_argument("files", nargs="+", metavar="FILE")
    parser.add_argument("--goal", default="r128", metavar="G", help="a goal's name or a TOML file (r128)")
    parser.add_argument(
        "--layout", metavar="L", help="the channels' positions where they are not the usual ones"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON array, an object a file")
    parser.add_argument("--jobs", type=int, default=0, metavar="N", help="files at a time (one a processor)")
