"""The options of ``sidecar live``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command
from sidecar.cli.arguments.parsing import seconds
from sidecar.cli.arguments.running import add_run_options, add_stem_options


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "live",
        "the job on a loopback input, or on a file",
        "sidecar live\n"
        "sidecar live --device 'Monitor of' --goal r128\n"
        "sidecar live --device pulse --channels 8 --pick 3,4\n"
        "sidecar live --duration 3:30\n"
        "sidecar live --profile last\n"
        "sidecar live --stems voice,music,effects --anchor voice\n"
        "sidecar live --surface decibels --surface-at 127.0.0.1:8000\n"
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
        "--patience",
        type=seconds,
        default=30.0,
        metavar="S",
        help="how long a lost device may stay away (30)",
    )
    source.add_argument(
        "--pace", choices=("real", "fast"), default="real", help="a file in real time, or as fast as it goes"
    )
    stems = parser.add_argument_group("stems that arrive apart, two channels each")
    stems.add_argument("--stems", metavar="A,B,…", help="their names, in the order of their channels")
    add_stem_options(stems)
    fader = parser.add_argument_group("the workstation's programme fader over OSC")
    fader.add_argument("--surface", metavar="NAME", help="how it is spoken to: a surface's name, or a file")
    fader.add_argument("--surface-at", metavar="HOST:PORT", help="where the workstation takes OSC")
    add_run_options(parser)
