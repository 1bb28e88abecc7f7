"""The options of ``sidecar listen``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import LISTEN_PORT, add_command, add_osc_root
from sidecar.cli.arguments.parsing import seconds


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "listen",
        "prints the OSC that arrives: for those who script",
        "sidecar listen\nsidecar listen --port 9000 --json\nsidecar listen --only /sidecar/alert\n"
        "sidecar listen --from 127.0.0.1:9139/alert",
    )
    parser.add_argument("--port", type=int, default=LISTEN_PORT, metavar="PORT", help=f"({LISTEN_PORT})")
    parser.add_argument(
        "--from",
        dest="source",
        metavar="HOST:PORT[/GROUPS][@HZ]",
        help="ask the sidecar that takes commands there, in place of waiting for one that sends here",
    )
    add_osc_root(parser, "with --from: what the addresses of that sidecar begin with")
    parser.add_argument("--bind", default="127.0.0.1", metavar="ADDRESS", help="on that address (127.0.0.1)")
    parser.add_argument("--only", default="/", metavar="PREFIX", help="only addresses that begin so")
    parser.add_argument("--for", dest="for_s", type=seconds, metavar="SECONDS", help="end after so long")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
