"""The files that ``sidecar check`` is about: named, in folders, matched, listed."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from sidecar.delivery.batch.paths import listed, sound_files
from sidecar.errors import SettingsError

_INPUT = "-"


def named_files(options: argparse.Namespace) -> Iterator[str]:
    """Each name as it comes, so that a long list is never in memory as a whole. Raises SettingsError for a
    list that cannot be read."""
    lists = [] if options.list is None else [options.list]
    for name in options.files:
        if name == _INPUT:
            lists.append(name)
        else:
            yield from sound_files([name])
    separator = b"\0" if options.zeros else b"\n"
    for source in dict.fromkeys(lists):
        yield from _listed(source, separator)


def in_memory(options: argparse.Namespace, names: Iterable[str]) -> list[str]:
    """The files of a run that keeps no archive, each once."""
    for option in ("cluster", "checksum", "forget"):
        if getattr(options, option):
            raise SettingsError(f"--{option} needs an archive: add --archive results.sqlite")
    files = list(dict.fromkeys(names))
    if not files:
        raise SettingsError(NOTHING)
    return files


NOTHING = "No sound file found. Give sound files, or folders or lists with some."


def _listed(source: str, separator: bytes) -> Iterator[str]:
    if source == _INPUT:
        yield from listed(sys.stdin.buffer, separator)
        return
    try:
        with Path(source).open("rb") as file:
            yield from listed(file, separator)
    except OSError as error:
        raise SettingsError(f"--list {source} cannot be read: {error.strerror}.") from error
