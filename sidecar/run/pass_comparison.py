"""Finding the pass that plays in an earlier one, beside the measuring where that one is long."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future

from sidecar.advice.programme.earlier_pass import NOT_COMPARED, Compare, Comparison, Heard, compare
from sidecar.loudness.series import Floats

_LONG_BLOCKS = 36_000
"""An hour is compared in 10 ms, a day in 200 ms: updates are 100 ms apart."""


class PassComparison:
    """A comparison that never holds up its caller for long.

    An earlier pass of over an hour is compared in a thread of its own: a call then returns the latest result,
    which is older by as long as that took.
    """

    def __init__(self, compare: Compare = compare, *, beside: bool = True) -> None:
        """beside: False compares all in the caller's thread."""
        self._compare, self._beside = compare, beside
        self._began: tuple[Floats, Future[Comparison]] | None = None
        """The earlier pass that is being compared, or has just been."""
        self._latest: tuple[Floats, Comparison] | None = None

    def __call__(self, profile: Floats, heard: Heard) -> Comparison:
        """See :func:`sidecar.advice.programme.earlier_pass.compare`."""
        if not self._is_beside(profile):
            return self._compare(profile, heard)
        latest = self._latest
        return latest[1] if latest is not None and latest[0] is profile else NOT_COMPARED

    def is_ready(self, profile: Floats, heard: Callable[[], Heard]) -> bool:
        """Returns whether a call would now return a new result; where not, one is on its way.

        heard: returns what is to be compared.
        """
        if not self._is_beside(profile):
            return True
        if self._began is None or self._began[0] is not profile:
            self._begin(profile, heard())
            return False
        if not self._began[1].done():
            return False
        self._latest, self._began = (profile, self._began[1].result()), None
        return True

    def _is_beside(self, profile: Floats) -> bool:
        return self._beside and len(profile) > _LONG_BLOCKS

    def _begin(self, profile: Floats, heard: Heard) -> None:
        result: Future[Comparison] = Future()
        self._began = profile, result

        def work() -> None:
            try:
                result.set_result(self._compare(profile, heard))
            except Exception as error:
                result.set_exception(error)

        try:
            threading.Thread(target=work, name="comparison", daemon=True).start()
        except RuntimeError:  # no thread can be had
            work()
