"""Transfer of frames from the capture process: a ring buffer in a memory-mapped file.

One process writes, one reads, and neither waits for the other. The writer first announces how far
it is about to write (the running frame counter in the header), then copies. The reader learns
from the capture process's standard output how many frames are complete: that line also orders the
memory of the two processes, which a counter read straight from the mapping would not on every CPU.
"""

from __future__ import annotations

import mmap
import os
import tempfile
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SourceError

_HEADER_BYTES = 64  # one cache line: the counter never shares one with samples
_SHARED_MEMORY = Path("/dev/shm")  # never written to a disk; Linux only
_DESCRIPTORS = Path("/dev/fd")  # leads to the open files of the process that asks; not on Windows
_PREFIX, _SUFFIX = "sidecar-", ".ring"
_SETTLED_S = 60.0
_LONGEST_S = 8.0  # how long a reader may be busy elsewhere
_LARGEST_BYTES = 32 * 2**20  # half of what containers commonly give to shared memory


def ring_capacity(rate_hz: int, channels: int) -> int:
    """Frames that a ring for this stream holds: 8 s, or less where that would pass 32 MiB."""
    return min(int(_LONGEST_S * rate_hz), _LARGEST_BYTES // (4 * channels))


class RingFile:
    """A zeroed file for :class:`Ring`, in shared memory where there is some; both processes open its *path*.

    It has no name where the system can hand it to another process without one: whichever ends first, and
    however, nothing is left. What ended processes left under a name is removed.
    """

    path: Path
    descriptors: tuple[int, ...]
    """Those that the capture process must inherit for *path* to lead to the file there."""

    def __init__(self, capacity: int, channels: int) -> None:
        """Raises SourceError when there is no room.

        The zeros are written, not implied: a hole in a full file system would end the process that
        touches it later.
        """
        size = _HEADER_BYTES + 4 * capacity * channels
        shared = [_SHARED_MEMORY] if _SHARED_MEMORY.is_dir() else []
        fault: OSError | None = None
        for folder in (*shared, Path(tempfile.gettempdir())):
            _sweep(folder)
            try:
                self._fill(folder, size)
            except OSError as error:
                fault = error
            else:
                return
        raise SourceError(
            f"No room for {size / 2**20:.0f} MiB of captured audio in {tempfile.gettempdir()} ({fault}). "
            "Free some space there, or point TMPDIR to another folder."
        )

    def close(self) -> None:
        """Gives the file up; rings that are open on it stay usable. A name that is in use stays until this is
        called again."""
        for descriptor in self.descriptors:
            os.close(descriptor)
        self.descriptors = ()
        if self.path.parent != _DESCRIPTORS:
            with suppress(OSError):
                self.path.unlink()

    def _fill(self, folder: Path, size: int) -> None:
        descriptor, name = _opened(folder)
        self.path = Path(name) if name else _DESCRIPTORS / str(descriptor)
        try:
            with os.fdopen(descriptor, "wb", closefd=bool(name)) as file:
                file.write(bytes(size))
        except OSError:
            if name:
                self.path.unlink(missing_ok=True)
            else:
                os.close(descriptor)
            raise
        self.descriptors = () if name else (descriptor,)


def _opened(folder: Path) -> tuple[int, str]:
    """A new file open for both, and its name; no name where it can do without."""
    if _DESCRIPTORS.is_dir():
        with suppress(AttributeError, OSError):  # Linux; not on every file system
            return os.open(folder, os.O_TMPFILE | os.O_RDWR, 0o600), ""
    descriptor, name = tempfile.mkstemp(prefix=_PREFIX, suffix=_SUFFIX, dir=folder)
    if _DESCRIPTORS.is_dir():
        Path(name).unlink()
        name = ""
    return descriptor, name


def _sweep(folder: Path) -> None:
    """Removes rings of ended processes. One in use has no name after a minute, or cannot be removed."""
    for left in folder.glob(f"{_PREFIX}*{_SUFFIX}"):
        with suppress(OSError):
            if time.time() - left.lstat().st_mtime > _SETTLED_S:
                left.unlink()


class Ring:
    """A mapped ring of float32 frames; open the same file once to write and once to read."""

    written: int
    """Frames written so far by this object, or 0 on the reading side."""

    def __init__(self, path: Path, capacity: int, channels: int) -> None:
        self.capacity = capacity
        self.written = 0
        # The writer may be this far ahead of what its announcement shows to another CPU.
        self._margin = capacity // 16
        with path.open("r+b") as file:
            self._map = mmap.mmap(file.fileno(), _HEADER_BYTES + 4 * capacity * channels)
        self._announced: NDArray[np.int64] = np.frombuffer(self._map, np.int64, 1)
        self._frames: NDArray[np.float32] = np.frombuffer(
            self._map, np.float32, capacity * channels, offset=_HEADER_BYTES
        ).reshape(capacity, channels)

    def write(self, frames: NDArray[np.float32]) -> None:
        """Appends frames of shape (n, channels), n ≤ capacity, over the oldest ones."""
        count = len(frames)
        self._announced[0] = self.written + count
        at = self.written % self.capacity
        before_end = min(count, self.capacity - at)
        self._frames[at : at + before_end] = frames[:before_end]
        self._frames[: count - before_end] = frames[before_end:]
        self.written += count

    def read(
        self, start: int, stop: int, columns: slice | NDArray[np.intp]
    ) -> tuple[int, NDArray[np.float32]]:
        """A copy of frames start…stop (counted since the beginning) of the chosen channels.

        Returns how many of them were already overwritten, and the rest, shape (n, chosen).
        """
        kept = min(max(start, self._oldest()), stop)
        at = kept % self.capacity
        before_end = min(stop - kept, self.capacity - at)
        parts = (
            self._frames[at : at + before_end, columns],
            self._frames[: stop - kept - before_end, columns],
        )
        copy = np.concatenate(parts)
        overtaken = min(max(kept, self._oldest()), stop) - kept
        return kept + overtaken - start, copy[overtaken:]

    def close(self) -> None:
        """Unmaps the file; the ring is unusable afterwards."""
        del self._announced, self._frames
        self._map.close()

    def _oldest(self) -> int:
        return int(self._announced[0]) - self.capacity + self._margin
