"""The options of ``sidecar check``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.check_archive import add_archive
from sidecar.cli.arguments.command import add_command


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "check",
        "measures finished files against one goal or several",
        "sidecar check mix.wav\n"
        "sidecar check --goal r128 --goal r128-s1 spot.wav\n"
        "sidecar check --goal a85 --json *.wav\n"
        "sidecar check --report proof.html --by 'A. Mixer' *.wav\n"
        "sidecar check --plot mix.png --csv mix.csv mix.wav\n"
        "sidecar check --layout L,R,Ls,Rs,C,LFE mix.wav",
    )
    parser.description += (  # type: ignore[operator]
        " Ends with 0 when all pass every goal, 1 when some fail, 2 when something could not be read."
    )
    parser.add_argument("files", nargs="*", metavar="FILE", help="files, folders, patterns; - for a list")
    parser.add_argument(
        "--goal",
        action="append",
        metavar="G",
        help="a goal's name or a TOML file (r128); give it again for more",
    )
    parser.add_argument(
        "--layout", metavar="L", help="the channels' positions where they are not the usual ones"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON array, an object a file")
    parser.add_argument("--json-schema", action="store_true", help="print the JSON Schema of that array")
    parser.add_argument("--jobs", type=int, default=0, metavar="N", help="processors to use (all)")
    add_archive(parser)
    reports = parser.add_argument_group(
        "reports", "Of several files each has its own in a folder of that name; R.html is the index."
    )
    reports.add_argument("--report", metavar="R.html", help="write a page that stands alone and prints")
    reports.add_argument("--by", default="", metavar="NAME", help="who measured, for the report")
    reports.add_argument("--plot", metavar="P.png", help="draw the course, as .png or .svg")
    reports.add_argument("--csv", metavar="C.csv", help="write the course, ten rows a second")
