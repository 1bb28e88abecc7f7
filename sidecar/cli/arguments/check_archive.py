"""The options of ``sidecar check`` for many files."""

from __future__ import annotations

import argparse


def add_archive(parser: argparse.ArgumentParser) -> None:
    """Adds them."""
    group = parser.add_argument_group(
        "many files",
        "A folder stands for the sound files in it, a pattern in quotes ('masters/**/*.wav')\n"
        "for what it matches, and - for a list of paths on the input.",
    )
    group.add_argument("--list", metavar="L", help="a file that lists paths, one a line; - is the input")
    group.add_argument(
        "-0", "--zeros", action="store_true", help="the paths in a list end in NUL, not in lines"
    )
    group.add_argument(
        "--archive",
        metavar="DB",
        help="keep results in this file: only what changed is measured the next time, and a run that was "
        "killed goes on; without files, all that is in it",
    )
    group.add_argument(
        "--checksum",
        action="store_true",
        help="with --archive: read every file again and compare its SHA-256, where size and times may lie",
    )
    group.add_argument(
        "--forget",
        action="store_true",
        help="with --archive: take files off record that are there no more (mount their disk first)",
    )
    group.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="share the files of an archive among the workers of a dask scheduler",
    )
