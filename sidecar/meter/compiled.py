"""How kernels are compiled: once on a machine, and kept beside their source."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from numba import njit
from numba.core import event
from numba.core.caching import FunctionCache, IndexDataCacheFile
from numba.core.runtime.nrt import rtsys

Function = TypeVar("Function", bound=Callable[..., Any])

_kernels: list[Any] = []
"""The kernels defined so far."""


def part(**options: Any) -> Callable[[Function], Function]:
    """Returns a decorator of what only kernels call: it is compiled into each of them.

    options: those of the compiler, such as ``fastmath``.
    """
    decorator: Callable[[Function], Function] = njit(nogil=True, **options)
    return decorator


def kernel(function: Function) -> Function:
    """Decorates a function that Python calls: it is compiled at the first call on a machine, and kept."""
    dispatcher: Any = njit(nogil=True)(function)
    dispatcher._cache = _Kept(function)
    _kernels.append(dispatcher)
    compiled: Function = dispatcher
    return compiled


def is_kept(function: Any) -> bool:
    """Returns whether any form of a kernel is kept on this machine, perhaps of an older source."""
    kept: _Kept = function._cache
    return kept.index.is_file()


@contextmanager
def compiling_reported(report: Callable[[int, int], object]) -> Iterator[None]:
    """Calls *report*, during the context, before each kernel that is compiled rather than loaded.

    report: takes the number of the kernel, from 1, and how many there are at most.
    """

    class Compiling(event.Listener):
        at = 0

        def on_start(self, begun: Any) -> None:
            if begun.data["dispatcher"] in _kernels:
                self.at += 1
                report(self.at, max(self.at, len(_kernels)))

        def on_end(self, _event: Any) -> None:
            """Nothing is reported."""

    with event.install_listener("numba:compile", Compiling()):
        yield


class _Kept(FunctionCache):
    """The compiled forms of one kernel on disk."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        folder, name = self._cache_path, self._impl.filename_base
        self.index = Path(folder) / f"{name}.nbi"
        stamp = _stamp(Path(function.__code__.co_filename).parent)
        self._cache_file = IndexDataCacheFile(folder, name, stamp)  # type: ignore[no-untyped-call]

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Returns the compiled form for a signature; None where none is kept.

        The compiler's own method first registers every function that it could compile, and imports scipy's
        linear algebra for that, which takes longer than all else at start-up. Loading needs the allocator
        alone.
        """
        rtsys.initialize(target_context)
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)  # type: ignore[no-untyped-call]


@cache
def _stamp(folder: Path) -> tuple[tuple[int, int], ...]:
    """Returns what changes with any source of this folder or of the kernel's own: kernels use constants and
    functions of their neighbours."""
    files = [*Path(__file__).parent.glob("*.py"), *folder.glob("*.py")]
    found = (file.stat() for file in sorted(files))
    return tuple((status.st_mtime_ns, status.st_size) for status in found)
