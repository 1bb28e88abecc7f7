"""Where the copies of a set go: folders kept, no two at one place, none onto an original."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from pathlib import Path, PurePath

from sidecar.delivery.distinct_names import distinct_names
from sidecar.errors import SourceError


def copy_places(
    files: Sequence[Path],
    below: Sequence[PurePath],
    folder: Path,
    kept: Sequence[Path],
    may_replace: bool,
) -> list[Path | SourceError]:
    """Where in *folder* the copy of each file goes, or why it cannot go there: never onto one of *kept*.

    below: each file's place below the folder it was found in; its name where it was named itself. Files that
    would meet there go by the shortest paths that tell them apart instead.
    """
    wanted = [PurePath(folder, place) for place in below]
    met = Counter(map(_key, wanted))
    apart = distinct_names(files)
    targets: list[Path | SourceError] = []
    taken = {key for key, count in met.items() if count == 1}
    for file, place, name in zip(files, wanted, apart, strict=True):
        if met[_key(place)] == 1:
            targets.append(_allowed(Path(place), kept, may_replace))
            continue
        longer = Path(folder, _inside(name))
        targets.append(_twice(file, longer) if _key(longer) in taken else _allowed(longer, kept, may_replace))
        taken.add(_key(longer))
    return targets


def _inside(name: str) -> PurePath:
    """A relative path that leads nowhere up."""
    parts = PurePath(name).parts
    return PurePath(*(part for part in parts if part not in (PurePath(name).anchor, "..", ".")))


def _key(place: PurePath) -> str:
    """Equal for names that are one on any file system."""
    return str(place).casefold()


def _twice(file: Path, place: PurePath) -> SourceError:
    return SourceError(f"{file}: another copy has the name {place} already. Rename one of the two files.")


def _allowed(target: Path, kept: Sequence[Path], may_replace: bool) -> Path | SourceError:
    if any(_same(target, original) for original in kept):
        return SourceError(f"{target} is an original. Copies need a folder of their own: choose another.")
    if os.path.lexists(target) and not may_replace:
        return SourceError(f"{target} exists already. Give --replace, or choose another folder.")
    return target


def _same(target: Path, original: Path) -> bool:
    try:
        return target.samefile(original)
    except OSError:
        return False
