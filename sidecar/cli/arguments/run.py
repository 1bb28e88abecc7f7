"""The options of a run, live or rehearsed, and of the screen on one that is elsewhere or over."""

from __future__ import annotations

import argparse
from typing import Any

from sidecar.cli.arguments.parsing import (
    ARM_CAUTION,
    COMMAND_PORT,
    GAIN_CAUTION,
    LIGHT_CAUTION,
    LISTEN_PORT,
    add_command,
    add_osc_root,
    add_screen_options,
    decibels,
    seconds,
)

BROWSER_PORT = 9141
"""Where browsers find the screen."""


def add_rehearse(commands: Any) -> None:
    """Adds ``sidecar rehearse``."""
    parser = add_command(
        commands,
        "rehearse",
        "try everything on a built-in programme with a simulated fader, without an audio device",
        "sidecar rehearse\nsidecar rehearse --goal a85\n"
        "sidecar rehearse --apart --anchor voice\n"
        "sidecar rehearse --auto --pace 8 --no-screen --write heard.wav\n"
        "sidecar rehearse --no-screen --json --for 10",
    )
    parser.add_argument(
        "--pace", default="real", metavar="P", help="real, fast, or how many times faster, such as 8 (real)"
    )
    stems = parser.add_argument_group("stems")
    stems.add_argument("--apart", action="store_true", help="the programme's stems in place of its mix")
    stems.set_defaults(stems=None)
    _add_stem_options(stems)
    fader = parser.add_argument_group("the master fader of a simulated workstation, over real OSC")
    fader.add_argument(
        "--surface", metavar="NAME", help="its OSC addresses: a surface's name, or a file (decibels)"
    )
    fader.add_argument(
        "--auto", action="store_true", help="arm at the start and move the fader automatically"
    )
    _add_run_options(parser)


def add_live(commands: Any) -> None:
    """Adds ``sidecar live``."""
    parser = add_command(
        commands,
        "live",
        "measure and advise on a loopback input, or on a file",
        "sidecar live\n"
        "sidecar live --device 'Monitor of' --goal r128\n"
        "sidecar live --make-output mix --hear\n"
        "sidecar live --make-output stems --stems voice,music,effects\n"
        "sidecar live --device mix.monitor --pick 3,4\n"
        "sidecar live --duration 3:30\n"
        "sidecar live --earlier last\n"
        "sidecar live --stems voice,music,effects --anchor voice\n"
        "sidecar live --stems voice,music,effects --dialogue voice --ldr 5\n"
        "sidecar live --surface decibels --surface-at 127.0.0.1:8000\n"
        "sidecar live --file mix.wav --pace fast --no-screen --json\n"
        "sidecar live --osc 192.168.1.20:9000 --osc light.local:7000",
        GAIN_CAUTION,
    )
    source = parser.add_argument_group("where the audio comes from")
    source.add_argument(
        "--device", metavar="NAME", help="part of an input's name (default: the monitor of the output in use)"
    )
    source.add_argument(
        "--make-output",
        metavar="NAME",
        help="make an output for the workstation, measure it, remove it at the end (PulseAudio, PipeWire)",
    )
    source.add_argument(
        "--hear",
        nargs="?",
        const="",
        metavar="OUTPUT",
        help="with --make-output: also play it on the output in use, or on OUTPUT",
    )
    source.add_argument("--file", metavar="FILE", help="read a sound file, not a device")
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
        help="how long to wait for a lost device (30)",
    )
    source.add_argument(
        "--pace", choices=("real", "fast"), default="real", help="a file in real time, or as fast as it goes"
    )
    stems = parser.add_argument_group("stems on channels of their own, two each")
    stems.add_argument("--stems", metavar="A,B,…", help="their names, in the order of their channels")
    _add_stem_options(stems)
    fader = parser.add_argument_group("the workstation's master fader over OSC", ARM_CAUTION)
    fader.add_argument("--surface", metavar="NAME", help="its OSC addresses: a surface's name, or a file")
    fader.add_argument("--surface-at", metavar="HOST:PORT", help="where the workstation receives OSC")
    fader.add_argument(
        "--surface-from",
        metavar="HOST[:PORT]",
        help="where its feedback comes from, if another place",
    )
    _add_run_options(parser)


def add_screen(commands: Any) -> None:
    """Adds ``sidecar screen``."""
    parser = add_command(
        commands,
        "screen",
        "show the screen of a sidecar that runs elsewhere",
        "sidecar screen\nsidecar screen --attach 192.168.1.20:9139\nsidecar screen --browser",
        f"{GAIN_CAUTION} Before you arm from here: has someone in that room agreed?",
    )
    parser.add_argument(
        "--attach",
        default=f"127.0.0.1:{COMMAND_PORT}",
        metavar="HOST:PORT",
        help=f"where that sidecar receives commands (127.0.0.1:{COMMAND_PORT})",
    )
    add_osc_root(parser, "root of that sidecar's addresses")
    add_screen_options(parser)
    browser = parser.add_argument_group(
        "in a browser",
        "Caution: the link gives all that the keys do, resetting and arming included.",
    )
    browser.add_argument("--browser", action="store_true", help="serve the screen to browsers until Ctrl-C")
    browser.add_argument(
        "--bind",
        default="127.0.0.1",
        metavar="ADDRESS",
        help="address of this machine to serve on (127.0.0.1); any other adds a token to the link",
    )
    browser.add_argument(
        "--port", type=int, default=BROWSER_PORT, metavar="PORT", help=f"and that port ({BROWSER_PORT})"
    )


def add_review(commands: Any) -> None:
    """Adds ``sidecar review``."""
    parser = add_command(
        commands,
        "review",
        "look back at a finished pass or file",
        "sidecar review\nsidecar review 12\nsidecar review mix.wav --goal r128-s1",
    )
    parser.add_argument(
        "what",
        nargs="?",
        metavar="PASS|FILE",
        help="a pass on record, by its id in 'sidecar passes', or a sound file (the last pass)",
    )
    parser.add_argument(
        "--goal", metavar="G", help="a goal's name or a TOML file (the pass's own; for a file r128)"
    )
    parser.add_argument("--layout", metavar="L", help="the channels of a file, as for check")
    add_screen_options(parser)


def _add_run_options(parser: argparse.ArgumentParser) -> None:
    """Goal, forecast, screen and OSC."""
    parser.add_argument(
        "--goal",
        metavar="G",
        help="the goal to meet: its name or a TOML file (the last chosen on the screen; r128)",
    )
    parser.add_argument(
        "--duration", metavar="T", help="length of the pass, such as 3:30; the advice then lands this pass"
    )
    parser.add_argument(
        "--stray",
        type=decibels,
        default=2.0,
        metavar="DB",
        help="how far advice may take the fader from a whole pass's gain, to land this one; 0: never (2)",
    )
    parser.add_argument(
        "--earlier",
        metavar="P",
        help="forecast from an earlier pass: 'last' on record, or a sound file of the mix",
    )
    parser.add_argument(
        "--from-first-sound",
        action="store_true",
        help="start a pass with the first sound above -70 LUFS, also after each reset; an input with "
        "--duration always does",
    )
    parser.add_argument(
        "--dialogue",
        metavar="STEM",
        help="measure dialogue loudness: on that stem, or with 'detect' where speech is found in the mix",
    )
    parser.add_argument("--resume", action="store_true", help="continue the last pass on record")
    parser.add_argument("--no-record", action="store_true", help="keep this run out of the record of passes")
    parser.add_argument(
        "--log-level",
        choices=("debug", "info", "warning", "error"),
        default="info",
        help="lowest level that the log keeps (info)",
    )
    add_screen_options(parser)
    parser.add_argument("--no-screen", action="store_true", help="print lines, without the screen")
    parser.add_argument(
        "--plain", action="store_true", help="one changing line in sentences, for screen readers"
    )
    parser.add_argument("--json", action="store_true", help="with --no-screen: one JSON object a line")
    parser.add_argument("--for", dest="for_s", type=seconds, metavar="SECONDS", help="end after this time")
    parser.add_argument(
        "--write", metavar="FILE", help="write the audio to a file: .wav (past 4 GiB RF64), .flac"
    )
    effects = parser.add_argument_group(
        "lights and programs",
        f"{LIGHT_CAUTION} The lights of a run change 3 times a second at most.",
    )
    effects.add_argument(
        "--light",
        action="append",
        default=[],
        metavar="NAME=HOST:PORT",
        help="show the run's state on a lamp; repeat for more (names: sidecar light-test)",
    )
    effects.add_argument(
        "--on",
        action="append",
        default=[],
        nargs=2,
        metavar=("ALERT", "COMMAND"),
        help="run a program when an alert turns on (ALERT:off, :latched, :any for other changes); repeat "
        "for more",
    )
    osc = parser.add_argument_group(
        "OSC",
        f"{LIGHT_CAUTION} No flash limit applies to what --osc sends: readings change at --osc-rate. Drive "
        "lamps with"
        " --light.",
    )
    osc.add_argument(
        "--osc",
        action="append",
        metavar="HOST:PORT[/GROUPS][@HZ]",
        help=f"send OSC there; repeat for more (127.0.0.1:{LISTEN_PORT})",
    )
    add_osc_root(osc, "root of all addresses")
    osc.add_argument(
        "--osc-port",
        type=int,
        default=COMMAND_PORT,
        metavar="PORT",
        help=f"UDP port for commands ({COMMAND_PORT})",
    )
    osc.add_argument(
        "--osc-bind",
        default="127.0.0.1",
        metavar="ADDRESS",
        help="address of this machine that receives commands (127.0.0.1)",
    )
    osc.add_argument(
        "--osc-allow",
        action="append",
        metavar="ADDRESS",
        help="address or network that may also send commands; repeat for more",
    )
    osc.add_argument("--osc-tcp", type=int, metavar="PORT", help="TCP port for commands")
    osc.add_argument(
        "--osc-rate",
        type=float,
        default=10.0,
        metavar="HZ",
        help="readings a second, 1 to 50 (10); no rate for lamps",
    )
    osc.add_argument(
        "--discovery-port",
        type=int,
        metavar="PORT",
        help="HTTP port for OSCQuery, on the --osc-bind address; 0 picks an unused port",
    )
    osc.add_argument(
        "--announce",
        action="store_true",
        help="announce the run by name on the network of --osc-bind (zeroconf)",
    )


def _add_stem_options(parser: Any) -> None:
    """What is said of the stems; their names come before."""
    parser.add_argument(
        "--anchor", metavar="STEM", help="the stem that stays (voice, lead); the rest moves around it"
    )
    parser.add_argument("--keep", metavar="A,B", help="stems whose faders stay where they are")
    parser.add_argument(
        "--under", type=float, metavar="LU", help="LU of the rest under the anchor while that plays"
    )
    parser.add_argument(
        "--ldr", type=float, metavar="LU", help="bring the mix to LU over the stem of --dialogue, which stays"
    )
