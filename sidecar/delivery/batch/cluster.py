"""Many files measured past one machine: by the workers of a dask scheduler.

The workers run this program in this version, and find the files under the same paths. What a worker had in
hand when it died others measure; a file on which workers die again and again is given up.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import replace
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any

from sidecar.delivery.batch.processes import MOMENT_S, Work
from sidecar.delivery.batch.work import Job, Kept, Result, measured, meter_version
from sidecar.delivery.judge.checking import Unread
from sidecar.errors import MissingPackage, NetworkError, SettingsError, SidecarError
from sidecar.wave.file_identity import FileIdentity

_PATIENCE_S = 10.0
"""For a scheduler that does not answer."""
_BUNDLE = 8
"""Files that a worker takes at a time: to send a short one alone costs more than to measure it."""
_COARSEST_CLOCK_NS = 2_000_000_000
"""Times of one file that two machines see differ by no more: FAT keeps two seconds (from memory)."""

_OTHER_VERSION = (
    "A worker of the cluster has another version of the sidecar or of libsndfile. Its figures may differ: "
    "install one version everywhere."
)

Bundle = list[str]
_Message = list[Result] | BaseException | None
"""Some results, the error that ended the work, or None at its end."""


class Cluster:
    """Measures files on the workers of a scheduler. Raises MissingPackage where packages are missing,
    NetworkError where the address does not answer or has no workers."""

    def __init__(self, address: str, job: Job, work: Work = measured) -> None:
        """work: what a worker does with a file; a function of a module that the workers have."""
        self._address, self._job, self._work = address, job, work
        self._client = _connected(address)

    @property
    def at_work_on(self) -> list[str]:
        """The number of workers in words; the files they are measuring are not known."""
        workers = len(self._client.scheduler_info(n_workers=-1)["workers"])
        return [f"{workers} {'worker' if workers == 1 else 'workers'} of {self._address}"]

    def results(self, files: Iterator[str]) -> Generator[Result | None]:
        """Yields the result of each file, in any order; None when a moment has passed without any.

        Raises MissingPackage where a worker has no sidecar, SettingsError where it is of another version,
        NetworkError when the scheduler is gone.
        """
        try:
            _refuse_others(self._client, self._job)
            messages = queue.SimpleQueue[_Message]()
            waits = threading.Thread(target=self._wait, args=(list(files), messages), daemon=True)
            waits.start()
            yield from self._received(messages)
            waits.join()
        finally:
            self._client.close()

    def _received(self, messages: queue.SimpleQueue[_Message]) -> Iterator[Result | None]:
        while True:
            try:
                results = messages.get(timeout=MOMENT_S)
            except queue.Empty:
                yield None
                continue
            if results is None:
                return
            if isinstance(results, SidecarError):
                raise results
            if isinstance(results, BaseException):
                raise NetworkError(
                    f"The cluster {self._address} has stopped ({results}). See the scheduler's log. The same "
                    "command continues."
                ) from results
            yield from map(_as_here, results)

    def _wait(self, files: list[str], messages: queue.SimpleQueue[_Message]) -> None:
        """Puts all results on *messages*; runs in a thread, as waiting for the scheduler blocks."""
        try:
            alone: list[str] = []
            work = partial(bundle_measured, job=self._job, work=self._work)
            for bundle, results in _finished(self._client, work, _bundles(files)):
                messages.put(results or [])
                alone += [] if results else bundle
            for file in alone:  # one after another: dask blames all that was waiting for a worker that died
                ((_, results),) = _finished(self._client, work, [[file]])
                messages.put(results or [_given_up(file)])
            messages.put(None)
        except BaseException as error:
            messages.put(error)


def _finished(
    client: Any, work: Callable[[Bundle], list[Result]], bundles: Iterable[Bundle]
) -> Iterator[tuple[Bundle, list[Result] | None]]:
    """What *work* makes of each bundle on the workers, in any order; None where worker after worker died on
    it. Raises what *work* raises."""
    from distributed import KilledWorker, as_completed

    waiting = {}
    for bundle in bundles:
        future = client.submit(work, bundle, pure=False)
        waiting[future.key] = future, bundle
    futures = [future for future, _ in waiting.values()]
    for future in as_completed(futures, loop=client.loop):  # type: ignore[no-untyped-call]
        _, bundle = waiting.pop(future.key)
        error = future.exception()
        if error is not None and not isinstance(error, KilledWorker):
            raise error
        yield bundle, None if error else future.result()


def bundle_measured(files: Bundle, job: Job, work: Work) -> list[Result]:
    """What a worker does. One of another version measures nothing: its figures may differ."""
    if meter_version(with_dialogue=job.with_dialogue) != job.meter:
        raise SettingsError(_OTHER_VERSION)
    return [work(file, job) for file in files]


def _bundles(files: list[str]) -> Iterator[Bundle]:
    rest = iter(files)
    while bundle := list(islice(rest, _BUNDLE)):
        yield bundle


def _given_up(file: str) -> Result:
    return Unread(file, f"{file} cannot be measured: each worker that tried was ended. Export it again.")


def _as_here(result: Result) -> Result:
    """With the inode and the time that this machine sees. A path that leads elsewhere there measured
    nothing that is wanted."""
    if not isinstance(result, Kept):
        return result
    try:
        here = FileIdentity.of(Path(result.file).stat())
    except OSError as error:
        return Unread(result.file, f"{result.file} cannot be read here: {error.strerror}.")
    if here.size != result.seen.size or abs(here.changed_ns - result.seen.changed_ns) > _COARSEST_CLOCK_NS:
        return Unread(
            result.file,
            f"{result.file} is another file on its worker. Mount the archive under the same path everywhere.",
        )
    return replace(result, seen=here)


def _connected(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as error:
        raise MissingPackage(
            f"--cluster needs packages that are not installed ({error.name}): "
            "pip install 'loudness-sidecar[cluster]'"
        ) from error
    try:
        return Client(address, timeout=_PATIENCE_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise NetworkError(
            f"No scheduler answers at {address} ({error}). Start one there: dask scheduler --port 8786"
        ) from error


def _refuse_others(client: Any, job: Job) -> None:
    try:
        client.wait_for_workers(1, timeout=_PATIENCE_S)
    except TimeoutError as error:
        raise NetworkError(
            "No worker has joined the scheduler. Start some: dask worker ADDRESS --nworkers auto --nthreads 1"
        ) from error
    versions = client.run(partial(meter_version, with_dialogue=job.with_dialogue), on_error="return")
    for worker, version in versions.items():
        if isinstance(version, ImportError):
            raise MissingPackage(f"The worker {worker} has no sidecar: install it there, in this version.")
        if isinstance(version, MissingPackage):
            raise MissingPackage(f"The worker {worker}: {version}")
        if version != job.meter:
            raise SettingsError(f"{_OTHER_VERSION} It is the one at {worker}.")
