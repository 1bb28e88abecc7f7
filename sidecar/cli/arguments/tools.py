"""The options of the commands that list, listen and test."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.parsing import (
    LIGHT_CAUTION,
    LISTEN_PORT,
    add_command,
    add_json,
    add_osc_root,
    seconds,
)


def add_passes(commands: Any) -> None:
    """Adds ``sidecar passes``."""
    parser = add_command(
        commands,
        "passes",
        "list, export and delete the passes on record",
        "sidecar passes\nsidecar passes --export 12 --to evening.csv\nsidecar passes --delete 12",
    )
    add_json(parser)
    parser.add_argument("--export", type=int, metavar="ID", help="write that pass to the file --to")
    parser.add_argument("--to", metavar="FILE", help="a .csv file, a row each 100 ms; or .json, all of it")
    parser.add_argument("--replace", action="store_true", help="replace an earlier file")
    parser.add_argument(
        "--delete",
        type=int,
        action="append",
        metavar="ID",
        help="delete that pass; repeat for more",
    )


def add_listen(commands: Any) -> None:
    """Adds ``sidecar listen``."""
    parser = add_command(
        commands,
        "listen",
        "print the OSC that arrives",
        "sidecar listen\nsidecar listen --port 9000 --json\nsidecar listen --only /sidecar/alert\n"
        "sidecar listen --from 127.0.0.1:9139/alert",
    )
    parser.add_argument("--port", type=int, default=LISTEN_PORT, metavar="PORT", help=f"({LISTEN_PORT})")
    parser.add_argument(
        "--from",
        dest="source",
        metavar="HOST:PORT[/GROUPS][@HZ]",
        help="watch the sidecar that receives commands there",
    )
    add_osc_root(parser, "with --from: root of that sidecar's addresses")
    parser.add_argument("--bind", default="127.0.0.1", metavar="ADDRESS", help="on that address (127.0.0.1)")
    parser.add_argument("--only", default="/", metavar="PREFIX", help="only addresses that start with this")
    parser.add_argument("--for", dest="for_s", type=seconds, metavar="SECONDS", help="end after this time")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def add_light_test(commands: Any) -> None:
    """Adds ``sidecar light-test``."""
    parser = add_command(
        commands,
        "light-test",
        "show each state of a light slowly; without a name, list the lights",
        "sidecar light-test\n"
        "sidecar light-test lamp 127.0.0.1:9000\n"
        "sidecar light-test my-lamp.toml 192.168.1.30:9000 --each 10",
        f"{LIGHT_CAUTION} Some states pulse, once a second at most.",
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="a light's name or a TOML file")
    parser.add_argument("place", nargs="?", metavar="HOST:PORT", help="where the lamp receives OSC")
    parser.add_argument(
        "--each", dest="each_s", type=float, default=5.0, metavar="SECONDS", help="time for each state (5)"
    )


def add_goals(commands: Any) -> None:
    """Adds ``sidecar goals``."""
    parser = add_command(
        commands, "goals", "list the delivery goals and their figures", "sidecar goals\nsidecar goals --json"
    )
    add_json(parser)


def add_devices(commands: Any) -> None:
    """Adds ``sidecar devices``."""
    parser = add_command(
        commands, "devices", "list the audio inputs", "sidecar devices\nsidecar devices --json"
    )
    add_json(parser)


def add_doctor(commands: Any) -> None:
    """Adds ``sidecar doctor``."""
    parser = add_command(
        commands,
        "doctor",
        "check this machine, and say what is missing",
        "sidecar doctor\nsidecar doctor --tone\nsidecar doctor --tone --channels 8 --device stems.monitor",
    )
    parser.add_argument(
        "--tone",
        action="store_true",
        help="play the line-up tone (1 kHz, −23 LUFS, 5 s, audible, after a warning), measure what returns",
    )
    parser.add_argument(
        "--device",
        metavar="NAME",
        help="with --tone: the input to listen to (the monitor of the output in use)",
    )
    parser.add_argument(
        "--play-to",
        metavar="OUTPUT",
        help="with --tone: part of an output's name (that of the input, or the system's own)",
    )
    parser.add_argument(
        "--channels",
        type=int,
        metavar="N",
        help="with --tone: a tone of its own in each of N channels, to see which arrives where",
    )


def add_guide(commands: Any) -> None:
    """Adds ``sidecar guide``."""
    parser = add_command(
        commands,
        "guide",
        "show the guide; without a name, list its pages",
        "sidecar guide\nsidecar guide osc",
    )
    parser.add_argument("page", nargs="?", metavar="PAGE", help="the name of a page")
