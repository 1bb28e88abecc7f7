"""Standard output for whoever measures: it never waits for whoever reads.

A script that stops reading, a terminal that was held with Ctrl-S: a pipe full of lines would hold up the
meter that prints them, and the capture would run over.
"""

from __future__ import annotations

import contextlib
import errno
import io
import logging
import os
import queue
import select
import sys
import threading
import time
from collections.abc import Iterator

from sidecar.cli.terminal.unwritable import DISK_FULL, unwritable

_ROOM_BYTES = 1 << 20
"""Lines of some three minutes; later ones are left out until somebody reads again."""
_PIECE_BYTES = 512
"""A pipe that is ready takes at least so much without waiting (PIPE_BUF in POSIX's limits.h)."""
_END_S = 2.0
_LOOK_S = 0.1

log = logging.getLogger(__name__)


@contextlib.contextmanager
def patient_output() -> Iterator[None]:
    """In place of standard output while it lasts, where that is a file or pipe that can be waited for.

    Raises OutputError at the end where it is a file and its disk was full.
    """
    usual = sys.stdout
    descriptor = _descriptor()
    if descriptor is None:
        yield
        return
    usual.flush()
    sys.stdout = patient = NonblockingOutput(descriptor, usual.encoding, is_terminal=usual.isatty())
    try:
        yield
    finally:
        sys.stdout = usual
        patient.flush_and_end()
        if patient.fault is not None and patient.fault.errno in DISK_FULL:
            raise unwritable(patient.fault)


class NonblockingOutput(io.TextIOBase):
    """Text that is written by a thread of its own, a flush at a time."""

    def __init__(self, descriptor: int, encoding: str, *, is_terminal: bool) -> None:
        self._descriptor = descriptor
        self._encoding = encoding
        self._is_terminal = is_terminal
        self._text = ""
        self._pieces: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._taken_bytes = 0
        self._written_bytes = 0
        """Counted by the thread alone, as *_taken_bytes* is by whoever writes: no lock is needed."""
        self._missed = 0
        self.fault: OSError | None = None
        """Why nothing can be written any more."""
        self._until_s = float("inf")
        self._thread = threading.Thread(target=self._run, name="output", daemon=True)
        self._thread.start()

    def isatty(self) -> bool:
        return self._is_terminal

    def write(self, text: str) -> int:
        self._text += text
        return len(text)

    def flush(self) -> None:
        """Hands over what was written since the last flush, or leaves all of it out where too much waits.

        Raises BrokenPipeError when whoever read has gone, or the disk is full.
        """
        if self.fault is not None:
            raise BrokenPipeError(errno.EPIPE, "nobody reads the output any more")
        piece, self._text = self._text.encode(self._encoding, "backslashreplace"), ""
        if self._taken_bytes - self._written_bytes + len(piece) > _ROOM_BYTES:
            self._missed += 1
        elif piece:
            self._taken_bytes += len(piece)
            self._pieces.put(piece)

    def flush_and_end(self) -> None:
        """Writes the rest; who does not read it in time does not get it."""
        self._until_s = time.monotonic() + _END_S
        self._pieces.put(None)
        self._thread.join(2.0 * _END_S)
        if self._missed:
            log.warning("nobody read the output: %d lines were left out", self._missed)

    def _run(self) -> None:
        try:
            while (piece := self._pieces.get()) is not None and self._write(piece):
                self._written_bytes += len(piece)
        except OSError as error:
            self.fault = error

    def _write(self, piece: bytes) -> bool:
        """False when the time was over before all of it was taken."""
        while piece:
            _, ready, _ = select.select([], [self._descriptor], [], _LOOK_S)
            if ready:
                piece = piece[os.write(self._descriptor, piece[:_PIECE_BYTES]) :]
            elif time.monotonic() > self._until_s:
                return False
        return True


def _descriptor() -> int | None:
    if os.name != "posix":  # elsewhere only sockets can be waited for
        return None
    try:
        return sys.stdout.fileno()
    except (OSError, ValueError, AttributeError):  # a stand-in without one
        return None
