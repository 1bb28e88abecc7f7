"""The options of ``sidecar match``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "match",
        "the gain for each file of a set so that all sit at one loudness",
        "sidecar match *.wav\n"
        "sidecar match --goal aes-album --sequence 01.wav 02.wav 03.wav\n"
        "sidecar match --like reference.wav mix.wav\n"
        "sidecar match --write levelled *.wav",
    )
    parser.description += (  # type: ignore[operator]
        " A gain goes no further up\nthan the goal's limits allow; which one held it is said."
        " Copies are dithered, measured\nagain, and never written over an original."
        " Ends with 0 when all stand where they should,\n1 when some cannot,"
        " 2 when something could not be read or written."
    )
    parser.add_argument("files", nargs="+", metavar="FILE")
    parser.add_argument("--goal", default="r128", metavar="G", help="a goal's name or a TOML file (r128)")
    parser.add_argument(
        "--sequence",
        action="store_true",
        help="one gain for all, so that their balance stays: the loudest lands on the target",
    )
    parser.add_argument(
        "--like", metavar="FILE", help="this file's loudness is the target; the goal's limits still hold"
    )
    parser.add_argument(
        "--write", metavar="DIR", help="write copies with their gain into this folder, never over an original"
    )
    parser.add_argument("--replace", action="store_true", help="let copies take the place of earlier ones")
    parser.add_argument(
        "--layout", metavar="L", help="the channels' positions where they are not the usual ones"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON array, an object a file")
    parser.add_argument("--jobs", type=int, default=0, metavar="N", help="processors to use (all)")
