"""The files that ``sidecar match`` is about, and where below the copies' folder each belongs."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from glob import has_magic
from pathlib import Path, PurePath

from sidecar.cli.arguments.named_files import NOTHING, named_files
from sidecar.delivery.batch.paths import sound_files
from sidecar.errors import SettingsError

_INPUT = "-"


def found_files(options: argparse.Namespace, copies_in: Path | None) -> dict[str, PurePath]:
    """Each file once, as it was named or found, with its place below the folder that was searched.

    copies_in: the folder of the copies; what lies in it is not searched out for another copy.
    Raises SettingsError where there is no file at all, or a list cannot be read.
    """
    found: dict[PurePath, tuple[str, PurePath]] = {}
    for file, below in _all(options, copies_in):
        found.setdefault(PurePath(file), (file, below))
    if not found:
        raise SettingsError(NOTHING)
    return dict(found.values())


def _all(options: argparse.Namespace, copies_in: Path | None) -> Iterator[tuple[str, PurePath]]:
    for name in options.files:
        if name != _INPUT:
            yield from _named(name, copies_in)
    lists = [name for name in options.files if name == _INPUT][:1]
    for file in named_files(argparse.Namespace(files=lists, list=options.list, zeros=options.zeros)):
        yield file, PurePath(PurePath(file).name)


def _named(name: str, copies_in: Path | None) -> Iterator[tuple[str, PurePath]]:
    root = _searched(name)
    for file in sound_files([name]):
        if root is None or file == name:
            yield file, PurePath(PurePath(file).name)
        elif copies_in is None or not _lies_in(Path(file), copies_in):
            yield file, PurePath(file).relative_to(root)


def _searched(name: str) -> PurePath | None:
    """The folder whose subfolders are kept; None for a file that is named itself."""
    path = Path(name)
    try:
        if path.is_dir():
            return path
        if not has_magic(name) or path.exists():
            return None
    except OSError:  # a name that is too long, or a link that leads round in a circle
        return None
    return next((parent for parent in path.parents if not has_magic(str(parent))), PurePath())


def _lies_in(file: Path, folder: Path) -> bool:
    try:
        return file.resolve().is_relative_to(folder.resolve())
    except OSError:
        return False
