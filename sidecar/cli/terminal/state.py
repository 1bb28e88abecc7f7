"""The terminal that a screen has: whether it is still there, and what it is left as."""

from __future__ import annotations

import contextlib
import os
import sys
from typing import Any

try:
    import termios
except ImportError:  # Windows
    termios = None  # type: ignore[assignment]


class Terminal:
    """The terminal on standard input, with its present modes; without one, the methods do nothing."""

    def __init__(self) -> None:
        self._modes: list[Any] | None = None
        if termios is not None and sys.__stdin__ is not None and sys.__stdin__.isatty():
            self._descriptor = sys.__stdin__.fileno()
            self._modes = termios.tcgetattr(self._descriptor)

    def is_gone(self) -> bool:
        """Whether it was closed. A signal need not report this: SIGHUP is sent only to the session that a
        terminal controls."""
        return self._modes is not None and not os.isatty(self._descriptor)

    def give_back(self) -> None:
        """Sets the modes as they were, where it is still there to take them."""
        if self._modes is None:
            return
        with contextlib.suppress(termios.error):
            termios.tcsetattr(self._descriptor, termios.TCSANOW, self._modes)
