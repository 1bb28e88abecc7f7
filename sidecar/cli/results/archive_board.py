"""What ``sidecar check --archive`` shows while it measures: a table that lives, or a line now and then."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path, PurePath

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.live import Live
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from sidecar.delivery.batch.store import Due
from sidecar.delivery.batch.work import Kept, Result
from sidecar.model.foreign_text import printable
from sidecar.model.units import h_mm_ss

_DRAW_S = 0.25
_LINE_S = 10.0
"""Seconds between two lines where the output is no terminal."""
_NAMED = 8
"""Files at work that are named; a cluster has more."""


class Progress:
    """How far a run is. Times are seconds since it began."""

    def __init__(self, due: Due) -> None:
        self._due = due
        self.passed = self.failed = self.unread = 0
        self._bytes = 0
        self._audio_s = 0.0

    @property
    def done(self) -> int:
        return self.passed + self.failed + self.unread

    @property
    def share(self) -> float:
        """0 to 1, by size: files differ."""
        if not self._due.size_bytes:
            return self.done / max(1, self._due.files)
        return min(1.0, self._bytes / self._due.size_bytes)

    def add(self, result: Result) -> None:
        if not isinstance(result, Kept):
            self.unread += 1
            self._bytes += _size(result.file)
            return
        self._bytes += result.seen.size
        self._audio_s += result.seconds
        if result.passes:
            self.passed += 1
        else:
            self.failed += 1

    def words(self, elapsed_s: float) -> list[str]:
        """Returns the share done, the rate, and the time left once it can be estimated."""
        elapsed_s = max(elapsed_s, 1e-3)
        said = [
            f"{self.done:,} of {self._due.files:,} files",
            f"{self.done / elapsed_s:,.1f} files/s, {self._audio_s / elapsed_s:,.0f} × real time",
            f"{self.passed:,} pass, {self.failed:,} fail, {self.unread:,} unreadable",
        ]
        if 0.0 < self.share < 1.0:
            said.append(f"{h_mm_ss(round(elapsed_s * (1.0 / self.share - 1.0)))} left")
        return said


class Board:
    """Shows progress on the error output. Use it as a context."""

    def __init__(self, due: Due, now: Callable[[], float] = time.monotonic) -> None:
        self.progress = Progress(due)
        self._now = now
        self._console = Console(stderr=True, highlight=False)
        self._lives = self._console.is_terminal
        self._live = Live(console=self._console, auto_refresh=False, transient=True)
        self._began_s = self._shown_s = now()

    def draw_progress(self, at_work_on: Sequence[str], result: Result | None) -> None:
        """Takes in what has come, and draws when it is time."""
        if result is not None:
            self.progress.add(result)
        if self._now() - self._shown_s < (_DRAW_S if self._lives else _LINE_S):
            return
        self._shown_s = self._now()
        words = self.progress.words(self._shown_s - self._began_s)
        if self._lives:
            self._live.update(_table(self.progress, words, at_work_on), refresh=True)
        else:
            print("; ".join(words), file=sys.stderr, flush=True)

    def __enter__(self) -> Board:
        if self._lives:
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._lives:
            self._live.stop()


def _table(progress: Progress, words: Sequence[str], at_work_on: Sequence[str]) -> Table:
    table = Table(box=SIMPLE_HEAD, show_header=False, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column(no_wrap=True, min_width=len("measuring"))
    table.add_column(overflow="ellipsis", no_wrap=True)
    table.add_row("", ProgressBar(total=1.0, completed=progress.share, width=40))
    for heading, said in zip(("done", "rate", "verdicts", "time"), words, strict=False):
        table.add_row(heading, said)
    for file in at_work_on[:_NAMED]:
        table.add_row("measuring", Text(printable(PurePath(file).name)))
    return table


def _size(file: str) -> int:
    try:
        return Path(file).stat().st_size
    except OSError:
        return 0
