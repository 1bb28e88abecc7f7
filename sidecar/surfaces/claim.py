"""One sidecar at a time for a workstation's fader: a lock between the runs of one person on one machine."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path
from typing import BinaryIO


class FaderClaim:
    """Held by the run that may move a fader. The system gives it up with the process, however that ends.

    Where one workstation answers only who moves its fader, two runs could not notice each other by its word.
    Where the system has no such locks every claim is granted.
    """

    def __init__(self, folder: Path, fader: str) -> None:
        """folder: where locks lie; it is made. fader: what tells this fader from others."""
        self._path = folder / f"fader-{re.sub(r'[^A-Za-z0-9]+', '-', fader)}.lock"
        self._file: BinaryIO | None = None

    def take(self) -> bool:
        """Whether this run has the fader now; never waits."""
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
        """Gives the fader up; harmless where it was not taken."""
        file, self._file = self._file, None
        if file is not None:
            with contextlib.suppress(OSError):
                file.close()
