"""The options of ``sidecar live``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.options.command import add_command
from sidecar.cli.options.running import add_pace, add_run_options


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
    add_run_options(parser)
    add_pace(parser)
