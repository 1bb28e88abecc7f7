"""Standard output that never blocks the measuring thread.

Where a script stops reading, or a terminal is held with Ctrl-S, a full pipe would block the meter that
prints, and the capture would overflow.
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
"""Lines of some three minutes; later ones are dropped until the output is read again."""
_PIECE_BYTES = 512
"""A pipe that is ready takes at least so much without waiting (PIPE_BUF in POSIX's limits.h)."""
_END_S = 2.0
_LOOK_S = 0.1

log = logging.getLogger(__name__)


@contextlib.contextmanager
def nonblocking_output() -> Iterator[None]:
    """Replaces standard output for the context, where that is a file or pipe that ``select`` can wait for.

    Raises OutputError at the end where it is a file and its disk was full.
    """
    usual = sys.stdout
    descriptor = _descriptor()
    if descriptor is None:
        yield
        return
    usual.flush()
    sys.stdout = output = NonblockingOutput(descriptor, usual.encoding, is_terminal=usual.isatty())
    try:
        yield
    finally:
        sys.stdout = usual
        output.flush_and_end()
        if output.fault is not None and output.fault.errno in DISK_FULL:
            raise unwritable(output.fault)


class NonblockingOutput(io.TextIOBase):
    """A text stream that is written by a thread of its own, a flush at a time."""

    def __init__(self, descriptor: int, encoding: str, *, is_terminal: bool) -> None:
        self._descriptor = descriptor
        self._encoding = encoding
        self._is_terminal = is_terminal
        self._text = ""
        self._pieces: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._taken_bytes = 0
        self._written_bytes = 0
        """Changed by the writing thread only, as *_taken_bytes* is by the caller of flush: needs no lock."""
        self._missed = 0
        self.fault: OSError | None = None
        """The error that ended the writing."""
        self._until_s = float("inf")
        self._thread = threading.Thread(target=self._run, name="output", daemon=True)
        self._thread.start()

    def isatty(self) -> bool:
        return self._is_terminal

    def write(self, text: str) -> int:
        self._text += text
        return len(text)

    def flush(self) -> None:
        """Queues the text written since the last flush, or drops all of it where the queue is full.

        Raises BrokenPipeError where the reader has closed the pipe, or the disk is full.
        """
        if self.fault is not None:
            raise BrokenPipeError(errno.EPIPE, "the reader of the output has closed it")
        piece, self._text = self._text.encode(self._encoding, "backslashreplace"), ""
        if self._taken_bytes - self._written_bytes + len(piece) > _ROOM_BYTES:
            self._missed += 1
        elif piece:
            self._taken_bytes += len(piece)
            self._pieces.put(piece)

    def flush_and_end(self) -> None:
        """Writes the rest, for at most _END_S; drops what was not read by then."""
        self._until_s = time.monotonic() + _END_S
        self._pieces.put(None)
        self._thread.join(2.0 * _END_S)
        if self._missed:
            log.warning("the output was not read: %d lines were left out", self._missed)

    def _run(self) -> None:
        try:
            while (piece := self._pieces.get()) is not None and self._write(piece):
                self._written_bytes += len(piece)
        except OSError as error:
            self.fault = error

    def _write(self, piece: bytes) -> bool:
        """Writes a piece; returns False where the time was over before all of it was written."""
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
