"""The options that ``live`` and ``rehearse`` share."""

from __future__ import annotations

import argparse
from typing import Any

from sidecar.cli.arguments.command import COMMAND_PORT, LISTEN_PORT, add_contrast, add_osc_root
from sidecar.cli.arguments.parsing import seconds


def add_run_options(parser: argparse.ArgumentParser) -> None:
    """Goal, forecast, screen and OSC."""
    parser.add_argument("--goal", metavar="G", help="a goal's name or a TOML file (r128)")
    parser.add_argument(
        "--duration", metavar="T", help="length of the pass, such as 3:30: the advice then lands this pass"
    )
    parser.add_argument(
        "--profile",
        metavar="P",
        help="an earlier pass as the forecast: 'last' for the last one heard, or a sound file of the mix",
    )
    parser.add_argument("--resume", action="store_true", help="go on with the last pass on record")
    parser.add_argument("--no-record", action="store_true", help="leave this run out of the record of passes")
    parser.add_argument(
        "--log-level",
        choices=("debug", "info", "warning", "error"),
        default="info",
        help="what is kept in the log, from that level up (info)",
    )
    add_contrast(parser)
    parser.add_argument("--no-screen", action="store_true", help="print lines in place of the screen")
    parser.add_argument(
        "--plain", action="store_true", help="one changing line in sentences, for screen readers"
    )
    parser.add_argument("--json", action="store_true", help="with --no-screen: one JSON object a line")
    parser.add_argument("--for", dest="for_s", type=seconds, metavar="SECONDS", help="end after so long")
    parser.add_argument(
        "--write", metavar="FILE", help="write what is heard to a .wav, .flac or .rf64 file as well"
    )
    effects = parser.add_argument_group(
        "lights and programs",
        "Caution: flashing light can cause seizures. The lights of a run change 3 times a second at most.",
    )
    effects.add_argument(
        "--light",
        action="append",
        default=[],
        metavar="NAME=HOST:PORT",
        help="show the run's state on a lamp there; may be given several times (names: sidecar light-test)",
    )
    effects.add_argument(
        "--on",
        action="append",
        default=[],
        nargs=2,
        metavar=("ALERT", "COMMAND"),
        help="run a program when that alert turns on (ALERT:off, ALERT:held, ALERT:any for other changes); "
        "may be given several times",
    )
    osc = parser.add_argument_group("OSC")
    osc.add_argument(
        "--osc",
        action="append",
        metavar="HOST:PORT[/GROUPS][@HZ]",
        help=f"send readings there; may be given several times (127.0.0.1:{LISTEN_PORT})",
    )
    add_osc_root(osc, "what all addresses begin with")
    osc.add_argument(
        "--osc-port",
        type=int,
        default=COMMAND_PORT,
        metavar="PORT",
        help=f"take commands there ({COMMAND_PORT})",
    )
    osc.add_argument(
        "--osc-bind",
        default="127.0.0.1",
        metavar="ADDRESS",
        help="take commands on that address of this machine",
    )
    osc.add_argument(
        "--osc-allow",
        action="append",
        metavar="ADDRESS",
        help="who may command besides this machine: an address or a network; may be given several times",
    )
    osc.add_argument("--osc-tcp", type=int, metavar="PORT", help="take commands over TCP there too")
    osc.add_argument(
        "--osc-rate", type=float, default=10.0, metavar="HZ", help="readings a second, 1 to 50 (10)"
    )
    osc.add_argument(
        "--discovery-port",
        type=int,
        metavar="PORT",
        help="tell the addresses over HTTP (OSCQuery) there, on the --osc-bind address; 0 is any free port",
    )
    osc.add_argument(
        "--announce",
        action="store_true",
        help="make that known by name on the network of --osc-bind (zeroconf)",
    )


def add_stem_options(parser: Any) -> None:
    """What is said of the stems; their names come before."""
    parser.add_argument(
        "--anchor", metavar="STEM", help="the stem (voice, lead) that is held, the rest around it"
    )
    parser.add_argument("--keep", metavar="A,B", help="stems whose faders stay where they are")
    parser.add_argument(
        "--under", type=float, metavar="LU", help="how far under the anchor the rest lies while that sounds"
    )
