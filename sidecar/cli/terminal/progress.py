"""The same work on many files at a time: bars while it lasts, and results in order."""

from __future__ import annotations

import math
import os
import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from sidecar.cli.terminal.first_run import compiling_is_said
from sidecar.delivery.distinct_names import distinct_names
from sidecar.errors import SidecarError

ProgressCallback = Callable[[float], None]
"""What the work calls with the share done, 0 to 1."""
Result = TypeVar("Result")


class Interrupted(KeyboardInterrupt):
    """Ctrl-C while several files were worked on."""

    def __init__(self, done: list[Any]) -> None:
        """done: the results in the order of the files; None for what was not finished."""
        super().__init__()
        self.done = done


class _Interrupted(BaseException):
    """Cancelled with Ctrl-C: no more work is begun, and what runs ends at its next report of progress."""


def each(
    paths: Sequence[Path], work: Callable[[int, ProgressCallback, int], Result], processors: int = 0
) -> list[Result | SidecarError]:
    """Calls *work* with the place of each path, a function for its progress, and the threads that fall
    to one file; one file's error does not keep the others from being done.

    processors: how many there are for all of it, 0 for those of this machine. Results are in the order of
    *paths*. Raises Interrupted on Ctrl-C, with the results that there are by then.
    """
    bars = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )
    names = distinct_names(paths)
    enough = threading.Event()
    processors = max(1, processors or os.cpu_count() or 1)
    at_once = max(1, min(processors, len(paths)))
    workers = math.ceil(processors / at_once)

    def one(place: int) -> Result | SidecarError:
        bar = bars.add_task(names[place], total=1.0)

        def on_progress(share: float) -> None:
            if enough.is_set():
                raise _Interrupted
            bars.update(bar, completed=share)

        try:
            on_progress(0.0)
            return work(place, on_progress, workers)
        except SidecarError as error:
            return error
        finally:
            bars.remove_task(bar)

    from sidecar.native.kernels import compiling_reported

    def begin_kernel(_at: int, _of: int) -> None:
        if enough.is_set():
            raise _Interrupted

    said = compiling_is_said(bars.console)
    with bars, said, compiling_reported(begin_kernel), ThreadPoolExecutor(at_once) as pool:
        begun = [pool.submit(one, place) for place in range(len(paths))]
        try:
            return [future.result() for future in begun]
        except KeyboardInterrupt:
            enough.set()
            pool.shutdown(wait=True, cancel_futures=True)
            raise Interrupted([_result(future) for future in begun]) from None


def _result(future: Future[Result]) -> Result | None:
    """None for what was not finished."""
    if future.cancelled() or future.exception() is not None:
        return None
    return future.result()
