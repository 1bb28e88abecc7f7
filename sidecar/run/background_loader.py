"""What a command names, read from disk beside the measuring."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from typing import Generic, TypeVar

from sidecar.run.command_queue import Request

Loaded = TypeVar("Loaded")

_REPLACED = "Replaced by a later request."


class BackgroundLoader(Generic[Loaded]):
    """Reads one at a time in a thread of its own; of those that wait, only the latest is kept.

    So any number of requests costs one thread and at most two reads, however slow the disk is.
    """

    def __init__(self, read: Callable[[str], Loaded], *, beside: bool = True) -> None:
        """read: returns what a name means, or raises. beside: False reads in the caller's thread, where
        nothing plays that could be missed."""
        self._read = read
        self._beside = beside
        self._lock = threading.Lock()
        self._is_reading = False
        self._waiting: tuple[Request, str] | None = None
        self._finished: queue.SimpleQueue[tuple[Request, Future[Loaded]]] = queue.SimpleQueue()

    def load(self, request: Request, name: str) -> None:
        """Reads what *name* means, for *request*; one that still waits is answered with a refusal."""
        with self._lock:
            replaced, self._waiting = self._waiting, (request, name)
            must_begin, self._is_reading = not self._is_reading, True
        if replaced:
            replaced[0].outcome.set_result(_REPLACED)
        if must_begin:
            self._begin()

    def finished(self) -> Iterator[tuple[Request, Future[Loaded]]]:
        """What has been read, or failed to be, since the last call."""
        while not self._finished.empty():
            yield self._finished.get()

    def _begin(self) -> None:
        if not self._beside:
            self._work()
            return
        try:
            threading.Thread(target=self._work, name="loader", daemon=True).start()
        except RuntimeError:  # no thread can be had
            with self._lock:
                self._is_reading, self._waiting = False, None
            raise

    def _work(self) -> None:
        while (waiting := self._next()) is not None:
            request, name = waiting
            result: Future[Loaded] = Future()
            try:
                result.set_result(self._read(name))
            except Exception as error:
                result.set_exception(error)
            self._finished.put((request, result))

    def _next(self) -> tuple[Request, str] | None:
        with self._lock:
            waiting, self._waiting = self._waiting, None
            self._is_reading = waiting is not None
            return waiting
