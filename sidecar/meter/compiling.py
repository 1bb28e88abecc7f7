"""Notices when a kernel is compiled rather than loaded: the first time on a machine, and after an update."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def compiling_reported(report: Callable[[], object]) -> Iterator[None]:
    """Calls *report* once, during the context, before the first kernel that is compiled."""
    from numba.core import event

    class Compiling(event.Listener):
        is_reported = False

        def on_start(self, _event: Any) -> None:
            if not self.is_reported:
                self.is_reported = True
                report()

        def on_end(self, _event: Any) -> None:
            """Nothing is reported."""

    with event.install_listener("numba:compile", Compiling()):
        yield
