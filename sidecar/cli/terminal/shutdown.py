"""What ends a command that has the terminal: a signal, a terminal that was closed, one that takes nothing."""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import threading
from collections.abc import Callable, Iterator

from sidecar.cli import CANNOT
from sidecar.cli.terminal.state import Terminal

_LOOK_S = 0.1
_IDLE_LOOK_S = 0.5
"""While nothing requests the end, and no terminal can."""
_GONE_S = 1.0
"""Longest time for a screen to end after its terminal was closed: there are no modes to restore."""
_STUCK_S = 10.0
"""Longest time for it otherwise: the usual end takes two seconds on a busy machine."""
_LAST_S = 60.0
"""Longest time for the whole end with the last words, which may wait for a disk and lamps that hang."""

log = logging.getLogger(__name__)


class Shutdown:
    """Whether the end was requested. Signal handlers only set a flag: they interrupt the main thread
    anywhere, where a lock may be held that ending needs."""

    def __init__(self) -> None:
        self.is_asked = False


@contextlib.contextmanager
def ending(last_words: Callable[[], int], *, has_screen: bool) -> Iterator[Shutdown]:
    """Yields the shutdown flag while the main thread uses the terminal; calls *last_words* once afterwards.

    Ctrl-C, SIGTERM, SIGHUP and, with a screen, the end of its terminal request the end. A terminal that
    takes no more output (it is not read, or was closed with output waiting) blocks the main thread for ever;
    then *last_words* is called in another thread, and the process ends with the exit code that it returns.
    The same is done where the terminal was closed: a screen on it may have threads that never end.
    """
    asked, turn, is_over = Shutdown(), threading.Lock(), threading.Event()
    terminal = Terminal()

    def end_without_screen() -> None:
        code = CANNOT
        try:
            code = last_words()
        finally:
            terminal.give_back()
            os._exit(code)

    def guard() -> None:
        asked_s, patience_s = 0.0, _STUCK_S
        while not is_over.wait(_LOOK_S if has_screen or asked.is_asked else _IDLE_LOOK_S):
            if has_screen and terminal.is_gone():
                asked.is_asked, patience_s = True, _GONE_S
            if not asked.is_asked:
                continue
            asked_s += _LOOK_S
            if asked_s > patience_s and turn.acquire(blocking=False):
                if log.hasHandlers():  # where no log is kept, the terminal itself would be written to
                    log.warning("the terminal does not answer: the run ends without it")
                threading.Thread(target=end_without_screen, name="last words", daemon=True).start()
            if asked_s > _LAST_S:
                os._exit(CANNOT)

    threading.Thread(target=guard, name="guard", daemon=True).start()
    with _signals(asked):
        try:
            yield asked
        finally:
            turn.acquire()  # once the guard has it, this thread is not needed any more
            try:
                code = last_words()
            finally:
                is_over.set()
            if has_screen and terminal.is_gone():
                os._exit(code)  # the thread that waits for its keys may go round, and hold up a usual exit


@contextlib.contextmanager
def _signals(asked: Shutdown) -> Iterator[None]:
    def ask(_number: int, _frame: object) -> None:
        asked.is_asked = True

    before = {number: signal.signal(number, ask) for number in _numbers()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _numbers() -> Iterator[int]:
    yield signal.SIGINT
    yield signal.SIGTERM
    hang_up = getattr(signal, "SIGHUP", None)  # none on Windows
    if hang_up is not None and signal.getsignal(hang_up) is not signal.SIG_IGN:  # nohup: it is to go on
        yield hang_up
