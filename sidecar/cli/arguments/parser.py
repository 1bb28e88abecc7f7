"""The whole command line. Imports nothing heavy: ``sidecar --help`` must be there at once."""

from __future__ import annotations

from sidecar.cli.arguments import files, run, tools
from sidecar.cli.arguments.parsing import Parser

_COMMANDS = (
    *(run.add_rehearse, run.add_live, run.add_screen, run.add_review),
    *(files.add_check, files.add_match, files.add_stamp, tools.add_passes),
    *(tools.add_listen, tools.add_light_test, tools.add_goals, tools.add_devices, tools.add_doctor),
    tools.add_guide,
)
"""In the order of the help: the job first."""


def make_parser() -> Parser:
    """Every command and option."""
    parser = Parser(
        prog="sidecar",
        description="Measures loudness beside any workstation. Shows which fader to move, by how many dB, "
        "and where the programme lands. Reports to lights, surfaces and scripts over OSC.",
        epilog="Start with: sidecar rehearse",
    )
    commands = parser.add_subparsers(title="commands", dest="command", metavar="COMMAND")
    for add in _COMMANDS:
        add(commands)
    return parser
