"""The options of the commands that are about finished files."""

from __future__ import annotations

import argparse
from typing import Any

from sidecar.cli.arguments.parsing import GAIN_CAUTION, add_command


def add_check(commands: Any) -> None:
    """Adds ``sidecar check``."""
    parser = add_command(
        commands,
        "check",
        "measure finished files against delivery goals",
        "sidecar check mix.wav\n"
        "sidecar check --goal r128 --goal r128-s1 spot.wav\n"
        "sidecar check --goal a85 --json *.wav\n"
        "sidecar check --report proof.html --by 'A. Mixer' *.wav\n"
        "sidecar check --fps 25 --from 10:00:00:00 --to 10:42:30:00 programme.wav\n"
        "sidecar check --encoded --goal aes-track mix.wav\n"
        "sidecar check --dialogue --goal r128-s4 film.wav\n"
        "sidecar check --plot mix.png --csv mix.csv mix.wav\n"
        "sidecar check --layout L,R,Ls,Rs,C,LFE mix.wav",
    )
    parser.description += (  # type: ignore[operator]
        " Exit code: 0 all pass, 1 some fail, 2 something could not be read."
    )
    parser.add_argument("files", nargs="*", metavar="FILE", help="files, folders, patterns; - for a list")
    parser.add_argument(
        "--goal",
        action="append",
        metavar="G",
        help="the delivery specification to meet: a goal's name or a TOML file (r128); repeat for more",
    )
    _add_layout(parser)
    parts = parser.add_argument_group("parts of a file")
    parts.add_argument(
        "--from", dest="from_", metavar="PLACE", help="measure from here: h:mm:ss.s, or a timecode with --fps"
    )
    parts.add_argument("--to", metavar="PLACE", help="measure up to here")
    parts.add_argument(
        "--parts",
        action="store_true",
        help="also measure each part between the cue markers of a WAV file; the whole decides. Parts named "
        "'dialogue…' give its dialogue loudness",
    )
    parts.add_argument(
        "--fps",
        default="",
        metavar="RATE",
        help="show times as timecode from the file's time reference: 23.976 24 25 29.97 29.97df 30 50 "
        "59.94 59.94df 60 (df: drop-frame)",
    )
    parser.add_argument(
        "--encoded",
        action="store_true",
        help="also measure the true peak after MP3, Vorbis and Opus coding",
    )
    parser.add_argument(
        "--dialogue",
        action="store_true",
        help="also find speech automatically, and measure dialogue loudness and LDR "
        "(needs: pip install 'loudness-sidecar[dialogue]')",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON array, an object a file")
    parser.add_argument("--json-schema", action="store_true", help="print the JSON Schema of that array")
    _add_jobs(parser)
    _add_archive(parser)
    reports = parser.add_argument_group(
        "reports", "With several files, each gets its own in a folder of that name. R.html is the index."
    )
    reports.add_argument("--report", metavar="R.html", help="write a self-contained page, ready to print")
    reports.add_argument(
        "--by", default="", metavar="NAME", help="name of the person who measured, for the report"
    )
    reports.add_argument("--plot", metavar="P.png", help="draw the loudness history, as .png or .svg")
    reports.add_argument("--csv", metavar="C.csv", help="write the loudness history, ten rows a second")


def add_match(commands: Any) -> None:
    """Adds ``sidecar match``."""
    parser = add_command(
        commands,
        "match",
        "find the gain that brings each file to one loudness",
        "sidecar match *.wav\n"
        "sidecar match --goal aes-album --sequence 01.wav 02.wav 03.wav\n"
        "sidecar match --like reference.wav mix.wav\n"
        "sidecar match --together --goal aes-track masters\n"
        "sidecar match --write levelled masters",
    )
    parser.description += (  # type: ignore[operator]
        " A gain goes as far as the goal's limits allow, and down for peaks. The limit that holds it is "
        "named."
        " Copies keep their metadata and subfolders. They are dithered and measured again. Only copies that "
        "pass"
        f" 'sidecar check' are written, never over an original. {GAIN_CAUTION} Exit code: 0 all reach the "
        "target,"
        " 1 some cannot, 2 something could not be read or written."
    )
    parser.add_argument("files", nargs="*", metavar="FILE", help="files, folders, patterns; - for a list")
    _add_list(parser)
    parser.add_argument(
        "--goal", metavar="G", help="the delivery specification to meet: a goal's name or a TOML file (r128)"
    )
    parser.add_argument(
        "--sequence",
        action="store_true",
        help="one gain for all, to keep their balance; the loudest comes nearest to the target",
    )
    parser.add_argument(
        "--together",
        action="store_true",
        help="the loudest level that all files reach within their limits, at most the target",
    )
    parser.add_argument(
        "--like",
        metavar="FILE",
        help="use this file's loudness as the target, within the goal's limits",
    )
    parser.add_argument(
        "--write",
        metavar="DIR",
        help="write copies with the gain applied to this folder, never over an original",
    )
    parser.add_argument("--replace", action="store_true", help="replace earlier copies")
    _add_layout(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON array, an object a file")
    _add_jobs(parser)


def add_stamp(commands: Any) -> None:
    """Adds ``sidecar stamp``."""
    parser = add_command(
        commands,
        "stamp",
        "measure WAV files and write their BWF loudness fields",
        "sidecar stamp --dry-run mix.wav\nsidecar stamp *.wav\nsidecar stamp --goal r128 *.wav",
    )
    parser.description += (  # type: ignore[operator]
        " The fields are those of the broadcast wave chunk (EBU Tech 3285 v2) of WAV, RF64 and BW64 files. "
        "Nothing"
        " else in a file changes, and no other kind of file. Exit code: 0 all written, 1 some miss the "
        "goal, 2 something could not be read or written."
    )
    parser.add_argument("files", nargs="+", metavar="FILE")
    parser.add_argument("--goal", metavar="G", help="write only to files that meet this goal")
    parser.add_argument(
        "--dry-run", action="store_true", help="show what would be written, and write nothing"
    )
    _add_layout(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON array, an object a file")
    _add_jobs(parser)


def _add_archive(parser: argparse.ArgumentParser) -> None:
    """What is said of many files."""
    group = parser.add_argument_group(
        "many files",
        "Give folders, patterns in quotes ('masters/**/*.wav'), or - for a list of paths on the"
        " standard input.",
    )
    _add_list(group)
    group.add_argument(
        "--archive",
        metavar="DB",
        help="keep results in this file; later runs measure only what changed. Without files: everything "
        "in it",
    )
    group.add_argument(
        "--checksum",
        action="store_true",
        help="with --archive: read every file again and compare its SHA-256",
    )
    group.add_argument(
        "--forget",
        action="store_true",
        help="with --archive: remove files that no longer exist (mount their disk first)",
    )
    group.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="share the work among the workers of a dask scheduler",
    )


def _add_list(group: argparse._ActionsContainer) -> None:
    group.add_argument(
        "--list", metavar="L", help="a file that lists paths, one a line; - reads the standard input"
    )
    group.add_argument(
        "-0", "--zeros", action="store_true", help="paths in a list end with NUL, not with a line break"
    )


def _add_layout(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--layout", metavar="L", help="the channels' positions, where the file does not give the right ones"
    )


def _add_jobs(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--jobs", type=int, default=0, metavar="N", help="processors to use (all)")
