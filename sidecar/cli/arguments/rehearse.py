"""The options of ``sidecar rehearse``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command
from sidecar.cli.arguments.running import add_run_options, add_stem_options


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "rehearse",
        "the whole job on a built-in programme with a simulated fader; needs no audio device",
        "sidecar rehearse\nsidecar rehearse --goal a85\n"
        "sidecar rehearse --apart --anchor voice\n"
        "sidecar rehearse --obey --pace 8 --no-screen --write heard.wav\n"
        "sidecar rehearse --no-screen --json --for 10",
    )
    parser.add_argument(
        "--pace", default="real", metavar="P", help="real, fast, or how many times faster, such as 8 (real)"
    )
    stems = parser.add_argument_group("stems")
    stems.add_argument("--apart", action="store_true", help="the programme's stems in place of its mix")
    stems.set_defaults(stems=None)
    add_stem_options(stems)
    fader = parser.add_argument_group("the programme fader of a simulated workstation, over real OSC")
    fader.add_argument(
        "--surface", metavar="NAME", help="how it is spoken to: a surface's name, or a file (decibels)"
    )
    fader.add_argument("--obey", action="store_true", help="arm it at once and make the moves unasked")
    add_run_options(parser)
