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
        self._workers: list[_WorkerProcess] = []
        self._deaths = Counter[str]()
        self._again = deque[str]()

    @property
    def at_work_on(self) -> list[str]:
        """The files that are being measured now."""
        return [worker.file for worker in self._workers if worker.file is not None]

    def results(self, files: Iterator[str]) -> Generator[Result | None]:
        """What becomes of each file, in any order; None when a moment has passed without any."""
        try:
            for _ in range(self._count):
                self._workers.append(self._hire())
                self._workers[-1].receive_result(next(files, None))
            while busy := [worker for worker in self._workers if worker.file is not None]:
                ready = wait([worker.line for worker in busy], MOMENT_S)
                if not ready:
                    yield None
                for worker in (worker for worker in busy if worker.line in ready):
                    result = self._heard(worker)
                    worker.receive_result(
                        next(files, None) or (self._again.popleft() if self._again else None)
                    )
                    if result is not None:
                        yield result
        finally:
            self._dismiss()

    def _heard(self, worker: _WorkerProcess) -> Result | None:
        """None where the process has died and its file is to be tried once more."""
        try:
            result: Result = worker.line.recv()
            return result
        except (EOFError, OSError):
            worker.process.join()
        file, code = worker.file or "", worker.process.exitcode
        fresh = self._hire()
        worker.line.close()
        worker.process, worker.line = fresh.process, fresh.line
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
        for worker in self._workers:
            worker.line.close()
            worker.process.terminate()
        for worker in self._workers:
            worker.process.join()
        self._workers.clear()


def _serve(line: Connection, job: Job, work: Work) -> None:
    """The life of a process: ends when the line does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is for who gives the orders
    try:
        while True:
            line.send(work(line.recv(), job))
    except (EOFError, OSError):
        return
