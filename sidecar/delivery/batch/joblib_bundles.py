"""Bundles of files through joblib's dask backend, in a way that tells of those that were lost."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future
from typing import Any, NamedTuple, TypeVar

from distributed import Client, KilledWorker
from joblib import Parallel, delayed, parallel_config
from joblib._dask import DaskDistributedBackend

Bundle = TypeVar("Bundle")
Outcome = TypeVar("Outcome")


def each(
    client: Client, work: Callable[[Bundle], Outcome], bundles: Iterable[Bundle]
) -> Iterator[tuple[Bundle, Outcome | None]]:
    """What *work* makes of each bundle on the workers, in any order; None where worker after worker died
    on it. Raises what *work* raises."""
    with parallel_config(backend=_TellingBackend(client=client)):
        parallel = Parallel(return_as="generator_unordered", batch_size=1)
        yield from parallel(delayed(_with_bundle)(work, bundle) for bundle in bundles)


def _with_bundle(work: Callable[[Bundle], Outcome], bundle: Bundle) -> tuple[Bundle, Outcome]:
    return bundle, work(bundle)


class _Failed(NamedTuple):
    """Dask has given up a bundle."""

    bundle: Any
    error: BaseException


class _TellingBackend(DaskDistributedBackend):  # type: ignore[misc]  # joblib is untyped
    """joblib's own is never told of a task that dask gave up, and waits for it without end (tried with
    joblib 1.6 and distributed 2026.8)."""

    def effective_n_jobs(self, n_jobs: int) -> int:
        """joblib would do the work in this process for a single worker."""
        return max(2, int(super().effective_n_jobs(n_jobs)))

    def submit(self, func: Any, callback: Callable[[Any], None] | None = None) -> Future[Any]:
        """As joblib has it, and with a word of failure."""
        ((_, (_, bundle), _),) = func.items

        def told(done: Future[Any]) -> None:
            error = done.exception()
            if error is not None and callback is not None:
                callback(_Failed(bundle, error))

        future: Future[Any] = super().submit(func, callback)
        future.add_done_callback(told)
        return future

    def retrieve_result_callback(self, out: Any) -> Any:
        """What a batch gave; a batch holds one bundle here."""
        if not isinstance(out, _Failed):
            return super().retrieve_result_callback(out)
        if isinstance(out.error, KilledWorker):
            return [(out.bundle, None)]
        raise out.error
