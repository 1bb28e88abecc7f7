"""The options of ``sidecar stamp``."""

from __future__ import annotations

from typing import Any

from sidecar.cli.arguments.command import add_command


def add(commands: Any) -> None:
    """Adds the command."""
    parser = add_command(
        commands,
        "stamp",
        "measures WAV files and writes their loudness into them",
        "sidecar stamp --dry-run mix.wav\nsidecar stamp *.wav\nsidecar stamp --goal r128 *.wav",
    )
    parser.description += (  # type: ignore[operator]
        " The fields are those of the\nbroadcast wave chunk (EBU Tech 3285 v2) of WAV, RF64 and BW64"
        " files; nothing else in a\nfile changes, and no other kind of file is touched."
        " Ends with 0 when all were stamped,\n1 when some did not meet the goal and were left alone,"
        " 2 when something could not be\nread or written."
    )
    parser.add_argument("files", nargs="+", metavar="FILE")
    parser.add_argument("--goal", metavar="G", help="stamp only files that meet this goal")
    parser.add_argument("--dry-run", action="store_true", help="say what would be written, and write nothing")
    parser.add_argument(
        "--layout", metavar="L", help="the channels' positions where they are not the usual ones"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON array, an object a file")
    parser.add_argument("--jobs", type=int, default=0, metavar="N", help="processors to use (all)")
