"""A lock on a workstation's fader, so that one run at a time of a user on a machine moves it."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path
from typing import BinaryIO


class FaderClaim:
    """A file lock held by the run that may move a fader. The system releases it when the process ends.

    A workstation may send feedback only to the sender that moves its fader, so two runs could not detect
    each other by it. On a system without such locks every claim is granted.
    """

    def __init__(self, folder: Path, fader: str) -> None:
        """folder: of the lock files; made where missing. fader: a text that identifies the fader."""
        self._path = folder / f"fader-{re.sub(r'[^A-Za-z0-9]+', '-', fader)}.lock"
        self._file: BinaryIO | None = None

    def acquire(self) -> bool:
        """Takes the lock and returns whether this run has it; never waits."""
        if self._file is not None:
            return True
        try:
            import fcntl

            self._path.parent.mkdir(parents=True, exist_ok=True)
            file = self._path.open("ab")
        except (ImportError, OSError):
            return True
        try:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.close()
            return False
        self._file = file
        return True

    def release(self) -> None:
        """Releases the lock; does nothing where it was not taken."""
        file, self._file = self._file, None
        if file is not None:
            with contextlib.suppress(OSError):
                file.close()
