"""The thread that measures, and what it leaves behind when it ends."""

from __future__ import annotations

import contextlib
import errno
import logging
import threading
from collections.abc import Callable

from sidecar.cli import CANNOT, LOST
from sidecar.cli.terminal.shutdown import Shutdown, ending
from sidecar.cli.terminal.unwritable import DISK_FULL, unwritable
from sidecar.errors import DeviceLost, SidecarError
from sidecar.run.session import Session

_END_S = 5.0
_LOOK_S = 0.1
_READER_GONE = (errno.EPIPE, errno.EIO)
"""Written to a closed pipe, to a closed terminal."""

log = logging.getLogger(__name__)

Show = Callable[[threading.Thread, Shutdown], None]
"""Has the main thread while the run lasts."""


def run_beside(
    session: Session, for_s: float | None, show: Show, closing: contextlib.ExitStack, *, has_screen: bool
) -> None:
    """Runs *session* in a thread of its own and *show* in this one, and ends the session when *show* returns,
    or where the terminal blocks it. *closing*, the resources of the run, is closed in either case.

    has_screen: whether *show* draws on the terminal, so that the run ends when that is closed. Raises what
    ended the run: SidecarError, also for an internal error, or BrokenPipeError where the reader of the output
    has closed it.
    """
    failures: list[BaseException] = []
    worker = threading.Thread(target=_work, args=(session, for_s, failures), name="meter", daemon=True)

    def last_words() -> int:
        session.stop()
        worker.join(_END_S)
        closing.close()
        return _exit_code(failures)

    with ending(last_words, has_screen=has_screen) as asked:
        worker.start()
        show(worker, asked)
    if failures:
        raise failures[0]


def wait(worker: threading.Thread, asked: Shutdown) -> None:
    """Until the run is over or is to end."""
    while worker.is_alive() and not asked.is_asked:
        worker.join(_LOOK_S)


def _exit_code(failures: list[BaseException]) -> int:
    """That of a run which cannot raise what it failed with any more."""
    if not failures or isinstance(failures[0], BrokenPipeError):
        return 0
    return LOST if isinstance(failures[0], DeviceLost) else CANNOT


def _work(session: Session, for_s: float | None, failures: list[BaseException]) -> None:
    try:
        session.run(for_s)
    except Exception as error:
        failures.append(_in_words(error))
        with contextlib.suppress(OSError):
            session.fail(str(failures[0]))


def _in_words(error: Exception) -> Exception:
    if isinstance(error, SidecarError):
        return error
    if isinstance(error, OSError) and error.errno in _READER_GONE:
        return BrokenPipeError(error.errno, "the reader of the output has closed it")
    if isinstance(error, OSError) and error.errno in DISK_FULL:
        return unwritable(error)
    log.error("the run has failed", exc_info=error)
    return SidecarError(
        f"The sidecar has failed ({error!r}). The pass so far is on record: continue with --resume. The log "
        "has the details."
    )
