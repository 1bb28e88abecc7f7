"""Every command and option. Imports nothing heavy: ``sidecar --help`` must be there at once."""

from __future__ import annotations

import argparse
from typing import Any

LISTEN_PORT = 9138
"""Where ``sidecar listen`` listens, and so where runs send unless told otherwise."""
COMMAND_PORT = 9139
"""Where a run listens for commands."""


def make_parser() -> argparse.ArgumentParser:
    """The whole command line."""
    parser = argparse.ArgumentParser(
        prog="sidecar",
        description="Measures loudness beside any workstation, says which fader to move and where the "
        "programme will land, and tells lights, surfaces and scripts over OSC.",
        epilog="Begin with: sidecar rehearse",
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _rehearse(commands)
    _live(commands)
    _check(commands)
    _listen(commands)
    _plain(
        commands,
        "goals",
        "the delivery goals that there are",
        "sidecar goals\nsidecar goals --json",
        json=True,
    )
    _plain(
        commands,
        "devices",
        "the audio inputs that there are",
        "sidecar devices\nsidecar devices --json",
        json=True,
    )
    _plain(commands, "doctor", "what is there and what is missing on this machine", "sidecar doctor")
    return parser


def _add(commands: Any, name: str, summary: str, examples: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=summary,
        description=summary[0].upper() + summary[1:] + ".",
        epilog="examples:\n" + "\n".join("  " + line for line in examples.splitlines()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    return parser


def _plain(commands: Any, name: str, summary: str, examples: str, *, json: bool = False) -> None:
    parser = _add(commands, name, summary, examples)
    if json:
        parser.add_argument("--json", action="store_true", help="print one JSON array")


def _rehearse(commands: Any) -> None:
    parser = _add(
        commands,
        "rehearse",
        "the whole job on a built-in programme with a simulated fader; needs no audio device",
        "sidecar rehearse\nsidecar rehearse --goal a85\nsidecar rehearse --no-screen --json --for 10",
    )
    _run_options(parser)
    _pace(parser)


def _live(commands: Any) -> None:
    parser = _add(
        commands,
        "live",
        "the job on a loopback input, or on a file",
        "sidecar live\n"
        "sidecar live --device 'Monitor of' --goal r128\n"
        "sidecar live --device pulse --channels 8 --pick 3,4\n"
        "sidecar live --duration 3:30\n"
        "sidecar live --profile last\n"
        "sidecar live --file mix.wav --pace fast --no-screen --json\n"
        "sidecar live --osc 192.168.1.20:9000 --osc light.local:7000",
    )
    source = parser.add_argument_group("where the audio comes from")
    source.add_argument(
        "--device", metavar="NAME", help="part of an input's name (default: the likeliest loopback)"
    )
    source.add_argument("--file", metavar="FILE", help="a sound file in place of a device")
    source.add_argument("--rate", type=int, metavar="HZ", help="sample rate to open the device at")
    source.add_argument(
        "--channels", type=int, metavar="N", help="how many channels the output listened to has"
    )
    source.add_argument("--pick", metavar="3,4", help="the channels to measure, from 1")
    source.add_argument(
        "--layout", metavar="L", help="mono stereo 5.0 5.1 7.1 7.1.4, or positions such as L,R,Ls,Rs,C,LFE"
    )
    source.add_argument(
        "--patience", type=float, default=30.0, metavar="S", help="how long a lost device may stay away (30)"
    )
    _run_options(parser)
    _pace(parser)


def _pace(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--pace", choices=("real", "fast"), default="real", help="in real time, or as fast as it goes"
    )


def _run_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--goal", default="r128", metavar="G", help="a goal's name or a TOML file (r128)")
    parser.add_argument(
        "--duration", metavar="T", help="length of the pass, such as 3:30: the advice then lands this pass"
    )
    parser.add_argument(
        "--profile",
        metavar="P",
        help="an earlier pass as the forecast: 'last' for the last one heard, or a sound file of the mix",
    )
    parser.add_argument("--no-screen", action="store_true", help="print lines in place of the screen")
    parser.add_argument("--json", action="store_true", help="with --no-screen: one JSON object a line")
    parser.add_argument("--for", dest="for_s", type=float, metavar="SECONDS", help="end after so long")
    osc = parser.add_argument_group("OSC")
    osc.add_argument(
        "--osc",
        action="append",
        metavar="HOST:PORT",
        help=f"send readings there; may be given several times (127.0.0.1:{LISTEN_PORT})",
    )
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
        "--osc-rate", type=float, default=10.0, metavar="HZ", help="readings a second, 1 to 50 (10)"
    )


def _check(commands: Any) -> None:
    parser = _add(
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


def _listen(commands: Any) -> None:
    parser = _add(
        commands,
        "listen",
        "prints the OSC that arrives: for those who script",
        "sidecar listen\nsidecar listen --port 9000 --json\nsidecar listen --only /sidecar/alert",
    )
    parser.add_argument("--port", type=int, default=LISTEN_PORT, metavar="PORT", help=f"({LISTEN_PORT})")
    parser.add_argument("--bind", default="127.0.0.1", metavar="ADDRESS", help="on that address (127.0.0.1)")
    parser.add_argument("--only", default="/", metavar="PREFIX", help="only addresses that begin so")
    parser.add_argument("--for", dest="for_s", type=float, metavar="SECONDS", help="end after so long")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
