"""The options of ``sidecar screen``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import COMMAND_PORT, add_command, add_contrast, add_osc_root

BROWSER_PORT = 9141
"""Where browsers find the screen."""


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "screen",
        "the screen alone, on a sidecar that runs elsewhere",
        "sidecar screen\nsidecar screen --attach 192.168.1.20:9139\nsidecar screen --browser",
    )
    parser.add_argument(
        "--attach",
        default=f"127.0.0.1:{COMMAND_PORT}",
        metavar="HOST:PORT",
        help=f"where that sidecar takes commands (127.0.0.1:{COMMAND_PORT})",
    )
    add_osc_root(parser, "what the addresses of that sidecar begin with")
    add_contrast(parser)
    browser = parser.add_argument_group(
        "in a browser",
        "Caution: who opens the link may do all that the keys do, resetting and arming included.",
    )
    browser.add_argument("--browser", action="store_true", help="serve the screen to browsers until Ctrl-C")
    browser.add_argument(
        "--bind",
        default="127.0.0.1",
        metavar="ADDRESS",
        help="on that address of this machine (127.0.0.1); elsewhere the link that is printed has a token",
    )
    browser.add_argument(
        "--port", type=int, default=BROWSER_PORT, metavar="PORT", help=f"and that port ({BROWSER_PORT})"
    )
