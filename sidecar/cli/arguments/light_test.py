"""The options of ``sidecar light-test``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "light-test",
        "shows every state of a light, slowly; without a name, the lights that there are",
        "sidecar light-test\n"
        "sidecar light-test lamp 127.0.0.1:9000\n"
        "sidecar light-test my-lamp.toml 192.168.1.30:9000 --each 10",
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="a light's name or a TOML file")
    parser.add_argument("place", nargs="?", metavar="HOST:PORT", help="where the lamp listens")
    parser.add_argument(
        "--each", dest="each_s", type=float, default=5.0, metavar="SECONDS", help="time for each state (5)"
    )
