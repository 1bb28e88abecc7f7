"""The asyncio loop of the engine, in a thread of its own: neither the meter nor a screen can hold it up."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

Result = TypeVar("Result")

_STOP_S = 5.0


class EventLoop:
    """Runs coroutines for callers in other threads. Use it as a context manager."""

    def __init__(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="engine", daemon=True)

    def __enter__(self) -> EventLoop:
        self._thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(_STOP_S)
        if not self._thread.is_alive():
            self._loop.close()

    def run(self, work: Coroutine[Any, Any, Result]) -> Result:
        """Runs *work* to its end on the loop and returns, or raises, what it did."""
        return asyncio.run_coroutine_threadsafe(work, self._loop).result()

    def soon(self, call: Callable[..., object], *arguments: object) -> None:
        """Asks the loop for a call; returns at once and never raises, not even while it is closing."""
        with contextlib.suppress(RuntimeError):  # closed, perhaps at this moment
            self._loop.call_soon_threadsafe(call, *arguments)
