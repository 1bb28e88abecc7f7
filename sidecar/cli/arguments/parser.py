"""The whole command line. Imports nothing heavy: ``sidecar --help`` must be there at once."""

from __future__ import annotations

from sidecar.cli.arguments import (
    check,
    devices,
    doctor,
    goals,
    light_test,
    listen,
    live,
    match,
    passes,
    rehearse,
    review,
    screen,
    stamp,
)
from sidecar.cli.arguments.parsing import Parser

_COMMANDS = (
    *(rehearse, live, screen, review, check, match, stamp, passes),
    *(listen, light_test, goals, devices, doctor),
)
"""In the order of the help: the job first."""


def make_parser() -> Parser:
    """Every command and option."""
    parser = Parser(
        prog="sidecar",
        description="Measures loudness beside any workstation, says which fader to move and where the "
        "programme will land, and tells lights, surfaces and scripts over OSC.",
        epilog="Begin with: sidecar rehearse",
    )
    commands = parser.add_subparsers(title="commands", dest="command", metavar="COMMAND")
    for command in _COMMANDS:
        command.add(commands)
    return parser
