"""The log of a run: log records go into a file, and C libraries' output does not corrupt the screen."""

from __future__ import annotations

import contextlib
import logging
import os
import platform
import queue
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from logging.handlers import QueueHandler, QueueListener, RotatingFileHandler
from pathlib import Path
from typing import IO

from sidecar.model.foreign_text import printable_json
from sidecar.settings.locations import log_folder
from sidecar.version import program_version

_LARGEST_BYTES = 1 << 20
_KEPT = 3
_MOST_WAITING = 10_000
"""Records that wait for a disk that does not write; later ones are left out."""
_END_S = 2.0
"""How long the end of a run waits for such a disk."""
_STDERR = 2

_log = logging.getLogger(__name__)


@contextlib.contextmanager
def kept_log(level: str = "info") -> Iterator[None]:
    """Sends log records of *level* and up, and whatever C libraries write to descriptor 2, into files.

    A record is a line of JSON. Logging does not block: a thread of its own writes. Python's own error output
    is not redirected, nor is the screen, which is drawn on it: both get a copy of the descriptor. Where no
    log can be written, none is kept.
    """
    try:
        folder = log_folder()
        folder.mkdir(parents=True, exist_ok=True)
        file = _File(folder / "sidecar.log", maxBytes=_LARGEST_BYTES, backupCount=_KEPT, encoding="utf-8")
        noise = (folder / "noise.log").open("wb")
    except OSError:
        yield
        return
    file.setFormatter(_Lines())
    waiting: queue.SimpleQueue[logging.LogRecord] = queue.SimpleQueue()
    writer = QueueListener(waiting, file)
    writer.start()
    logging.basicConfig(level=level.upper(), handlers=[_Waiting(waiting)], force=True)
    try:
        _log.info(
            "begins: sidecar %s, Python %s, %s", program_version(), sys.version.split()[0], platform.system()
        )
        with noise, _descriptor_2_in(noise):
            yield
    finally:
        logging.basicConfig(handlers=[logging.NullHandler()], force=True)
        ending = threading.Thread(target=_end, args=(writer, file), daemon=True)
        ending.start()  # the listener's own end waits for the disk without a bound
        ending.join(_END_S)


def _end(writer: QueueListener, file: logging.Handler) -> None:
    writer.stop()
    with contextlib.suppress(OSError):  # a full disk, for what was not written before
        file.close()


class _Waiting(QueueHandler):
    """Hands records to the writer as they are; leaves them out where too many wait."""

    def prepare(self, record: logging.LogRecord) -> logging.LogRecord:
        return record  # the writer is in this process: message and error stay apart

    def enqueue(self, record: logging.LogRecord) -> None:
        if self.queue.qsize() < _MOST_WAITING:  # type: ignore[attr-defined]
            self.queue.put_nowait(record)


class _File(RotatingFileHandler):
    """Drops lines of the log on a full disk, without logging's own report, which would corrupt the screen."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802, ARG002
        return


class _Lines(logging.Formatter):
    """One JSON object a line. The person's name stays out of it: their home is ``~``."""

    def __init__(self) -> None:
        super().__init__()
        self._home = str(Path.home())

    def format(self, record: logging.LogRecord) -> str:
        fields = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "thread": record.threadName,
            "message": record.getMessage().replace(self._home, "~"),
        }
        if record.exc_info:
            fields["error"] = self.formatException(record.exc_info).replace(self._home, "~")
        return printable_json(fields)


@contextlib.contextmanager
def _descriptor_2_in(noise: IO[bytes]) -> Iterator[None]:
    sys.stderr.flush()
    copy = os.dup(_STDERR)
    kept = sys.stderr, sys.__stderr__
    said = os.fdopen(copy, "w", encoding=sys.stderr.encoding, errors="backslashreplace", buffering=1)
    os.dup2(noise.fileno(), _STDERR)
    sys.stderr = sys.__stderr__ = said  # type: ignore[misc]
    try:
        yield
    finally:
        with contextlib.suppress(OSError):  # a terminal that was closed takes nothing more
            said.flush()
        os.dup2(copy, _STDERR)
        sys.stderr, sys.__stderr__ = kept  # type: ignore[misc]
        with contextlib.suppress(OSError):
            said.close()
