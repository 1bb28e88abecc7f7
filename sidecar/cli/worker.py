"""The thread that measures, and all that ends it: the source, the person, a signal, a fault."""

from __future__ import annotations

import contextlib
import errno
import logging
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator

from sidecar.errors import SidecarError
from sidecar.session import Session

try:
    import termios
except ImportError:  # Windows
    termios = None  # type: ignore[assignment]

_END_S = 5.0
_LOOK_S = 0.1
_STUCK_S = 10.0
"""The usual end takes two seconds on a busy machine; the worker has _END_S of them."""
_READER_GONE = (errno.EPIPE, errno.EIO)
"""Written to a closed pipe, to a closed terminal."""

log = logging.getLogger(__name__)


class Ending:
    """Whether somebody asked for the end. Signals set a flag and no more: their handlers interrupt the
    main thread anywhere, where a lock may be held that ending needs."""

    def __init__(self) -> None:
        self.is_asked = False


Show = Callable[[threading.Thread, Ending], None]
"""Has the main thread while the run lasts."""


def run_beside(session: Session, for_s: float | None, show: Show, closing: contextlib.ExitStack) -> None:
    """Runs *session* in a thread of its own while *show* has this one, and ends it when that returns.

    Ctrl-C, SIGTERM and the end of the terminal (SIGHUP) ask for the end. A terminal that takes nothing
    more (held with Ctrl-S, say) holds *show* up; then *closing*, what goes with the run, is closed
    without it and the process ends. Raises what ended the run: SidecarError, also for a fault inside, or
    BrokenPipeError where whoever read the output has gone.
    """
    failures: list[BaseException] = []
    worker = threading.Thread(target=_work, args=(session, for_s, failures), name="meter", daemon=True)

    def end() -> None:
        session.stop()
        worker.join(_END_S)

    with _signals() as ending, _guarded(ending, end, closing):
        worker.start()
        try:
            show(worker, ending)
        finally:
            end()
    if failures:
        raise failures[0]


@contextlib.contextmanager
def _guarded(ending: Ending, end: Callable[[], None], closing: contextlib.ExitStack) -> Iterator[None]:
    has_returned = threading.Event()
    give_back = _modes_given_back()

    def guard() -> None:
        while not has_returned.wait(_LOOK_S):
            if ending.is_asked and not has_returned.wait(_STUCK_S):
                log.warning("the terminal takes nothing: the run ends without it")
                end()
                closing.close()
                give_back()
                os._exit(0)

    threading.Thread(target=guard, name="guard", daemon=True).start()
    try:
        yield
    finally:
        has_returned.set()


def _modes_given_back() -> Callable[[], object]:
    """What puts the terminal's modes back to what they are now."""
    if termios is None or sys.stdin is None or not sys.stdin.isatty():
        return lambda: None
    modes = termios.tcgetattr(sys.stdin)
    return lambda: termios.tcsetattr(sys.stdin, termios.TCSANOW, modes)


def wait(worker: threading.Thread, ending: Ending) -> None:
    """Until the run is over or is to end."""
    while worker.is_alive() and not ending.is_asked:
        worker.join(_LOOK_S)


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
        return BrokenPipeError(error.errno, "nobody reads the output any more")
    log.error("the run has failed", exc_info=error)
    return SidecarError(
        f"The sidecar has failed inside ({error!r}). What was heard until then is on record: go on with "
        "--resume. The log has the details for whoever mends it."
    )


@contextlib.contextmanager
def _signals() -> Iterator[Ending]:
    ending = Ending()

    def ask(_number: int, _frame: object) -> None:
        ending.is_asked = True

    names = ("SIGINT", "SIGTERM", "SIGHUP")
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.signal(number, ask) for number in numbers}
    try:
        yield ending
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
