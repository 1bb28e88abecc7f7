"""The log of a run: what is worth keeping goes into a file, and nothing tears the screen."""

from __future__ import annotations

import contextlib
import logging
import os
import sys
from collections.abc import Iterator
from logging.handlers import RotatingFileHandler
from typing import IO

from sidecar.locations import log_folder

_LARGEST_BYTES = 1 << 20
_KEPT = 3
_STDERR = 2


@contextlib.contextmanager
def kept_log() -> Iterator[None]:
    """Sends log records, and whatever C libraries write to descriptor 2, into the log file.

    Python's own error output keeps going where it went, and so does the screen, which is drawn on it:
    both are given a copy of the descriptor. Where no log can be written, none is.
    """
    try:
        folder = log_folder()
        folder.mkdir(parents=True, exist_ok=True)
        handler = RotatingFileHandler(folder / "sidecar.log", maxBytes=_LARGEST_BYTES, backupCount=_KEPT)
        noise = (folder / "noise.log").open("wb")
    except OSError:
        yield
        return
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(name)s %(message)s"))
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    try:
        with noise, _descriptor_2_in(noise):
            yield
    finally:
        logging.basicConfig(handlers=[logging.NullHandler()], force=True)


@contextlib.contextmanager
def _descriptor_2_in(noise: IO[bytes]) -> Iterator[None]:
    sys.stderr.flush()
    copy = os.dup(_STDERR)
    kept = sys.stderr, sys.__stderr__
    with os.fdopen(copy, "w", encoding=sys.stderr.encoding, errors="backslashreplace", buffering=1) as said:
        os.dup2(noise.fileno(), _STDERR)
        sys.stderr = sys.__stderr__ = said  # type: ignore[misc]
        try:
            yield
        finally:
            said.flush()
            os.dup2(copy, _STDERR)
            sys.stderr, sys.__stderr__ = kept  # type: ignore[misc]
