"""Many files measured by processes of this machine, one file each at a time.

Processes and not threads: what surrounds the kernels holds the interpreter, so that on files of a second two
threads take some 1.4 times as long as two processes, on longer ones 1.1 times (two cores, busy machine); and
a file on which a decoder crashes takes one process and no more.
"""

from __future__ import annotations

import signal
from collections import Counter, deque
from collections.abc import Callable, Generator, Iterator
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess

from sidecar.delivery.batch.work import Job, Result, measured
from sidecar.delivery.judge.checking import Unread

MOMENT_S = 0.25
"""The longest wait for a result before None is yielded, seconds."""
_TRIES = 2
"""What ended the first process may have been something else than its file."""

Work = Callable[[str, Job], Result]


@dataclass(eq=False, slots=True)
class _WorkerProcess:
    """A process and the file that it is at."""

    process: BaseProcess
    line: Connection
    file: str | None = None

    def receive_result(self, file: str | None) -> None:
        self.file = file
        if file is not None:
            with suppress(OSError):  # it has ended meanwhile, which the next wait reports
                self.line.send(file)


class MeasuringProcesses:
    """Processes that measure. They end with this one, however that ends."""

    def __init__(self, job: Job, count: int, work: Work = measured) -> None:
        """work: what each does with a file; a function of a module."""
        self._job, self._count, self._work = job, count, work
        self._hands: list[_WorkerProcess] = []
        self._deaths = Counter[str]()
        self._again = deque[str]()

    @property
    def at_work_on(self) -> list[str]:
        """The files that are being measured now."""
        return [hand.file for hand in self._hands if hand.file is not None]

    def results(self, files: Iterator[str]) -> Generator[Result | None]:
        """What becomes of each file, in any order; None when a moment has passed without any."""
        try:
            for _ in range(self._count):
                self._hands.append(self._hire())
                self._hands[-1].receive_result(next(files, None))
            while busy := [hand for hand in self._hands if hand.file is not None]:
                ready = wait([hand.line for hand in busy], MOMENT_S)
                if not ready:
                    yield None
                for hand in (hand for hand in busy if hand.line in ready):
                    result = self._heard(hand)
                    hand.receive_result(next(files, None) or (self._again.popleft() if self._again else None))
                    if result is not None:
                        yield result
        finally:
            self._dismiss()

    def _heard(self, hand: _WorkerProcess) -> Result | None:
        """None where the process has died and its file is to be tried once more."""
        try:
            result: Result = hand.line.recv()
            return result
        except (EOFError, OSError):
            hand.process.join()
        file, code = hand.file or "", hand.process.exitcode
        fresh = self._hire()
        hand.line.close()
        hand.process, hand.line = fresh.process, fresh.line
        self._deaths[file] += 1
        if self._deaths[file] < _TRIES:
            self._again.append(file)
            return None
        return Unread(
            file, f"{file} cannot be measured: each process that tried was ended ({code}). Export it again."
        )

    def _hire(self) -> _WorkerProcess:
        context = get_context("spawn")  # a fork would share the archive's database and its locks
        ours, theirs = context.Pipe()
        process = context.Process(target=_serve, args=(theirs, self._job, self._work), daemon=True)
        process.start()
        theirs.close()  # so that the line breaks when the process ends
        return _WorkerProcess(process, ours)

    def _dismiss(self) -> None:
        for hand in self._hands:
            hand.line.close()
            hand.process.terminate()
        for hand in self._hands:
            hand.process.join()
        self._hands.clear()


def _serve(line: Connection, job: Job, work: Work) -> None:
    """The life of a process: ends when the line does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is for who gives the orders
    try:
        while True:
            line.send(work(line.recv(), job))
    except (EOFError, OSError):
        return
