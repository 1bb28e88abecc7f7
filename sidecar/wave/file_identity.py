"""Work on a file holds only for the file as it was when the work began."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sidecar.errors import SourceError
from sidecar.wave.bext_write import Seen

_NOTHING = Seen(0, 0, 0)


@contextmanager
def unchanged(path: Path, seen: Seen | None = None) -> Iterator[Seen]:
    """Gives by what *path* is known, for work on it that is worth nothing should it change meanwhile.

    seen: what it is to be from the start; None takes it as it is.
    Raises SourceError at either end when it is another file; what the work itself raises comes first.
    """
    before = seen_of(path)
    if seen not in (None, before):
        raise changed(path)
    yield before
    if before == _NOTHING or seen_of(path) != before:
        raise changed(path)


def changed(path: Path) -> SourceError:
    return SourceError(f"{path} changed while it was measured. Run this again when nothing writes to it.")


def seen_of(path: Path) -> Seen:
    """As it is now; a file that is not there is none that can be seen."""
    try:
        return Seen.of(path.stat())
    except OSError:
        return _NOTHING
