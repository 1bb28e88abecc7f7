"""Which runs are alive: each keeps a small file beside the record locked, and the system frees it whatever
way the run ends. Another run does not go on with the pass of one that is alive."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from sidecar.storage.atomic_file import remove_unless_locked, try_lock

_NO_LINK = getattr(os, "O_NOFOLLOW", 0)


class Hold:
    """One run's locked file."""

    def __init__(self, record: Path, holder: int) -> None:
        """Locks it, and removes those of ended runs. Raises OSError where the folder does not let it."""
        for left in record.parent.glob(f"{record.name}-run-*"):
            remove_unless_locked(left)
        self._path = _path(record, holder)
        self._descriptor = self._locked()

    def release(self) -> None:
        """Others may go on with what this run has written."""
        with contextlib.suppress(OSError):
            self._path.unlink()
        os.close(self._descriptor)

    def _locked(self) -> int:
        while True:
            descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | _NO_LINK, 0o600)
            if (
                try_lock(descriptor) and self._path.exists()
            ):  # else another run took it for abandoned just now
                return descriptor
            os.close(descriptor)


def is_held(record: Path, holder: int) -> bool:
    """Whether the run of that number is alive; never, where the system has no locks."""
    try:
        descriptor = os.open(_path(record, holder), os.O_RDWR | _NO_LINK)
    except OSError:
        return False
    try:
        return not try_lock(descriptor)
    finally:
        os.close(descriptor)


def _path(record: Path, holder: int) -> Path:
    return record.with_name(f"{record.name}-run-{holder:x}")
