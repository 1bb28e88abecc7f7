"""Loads what is slow to load while a run waits for something else."""

from __future__ import annotations

import contextlib
import importlib
import threading

_NEEDED_FIRST = "sidecar.run.metering"
"""With the first reading."""


def preload() -> None:
    """Begins to load modules in a thread of its own, while the sound system is asked for its inputs, say."""
    threading.Thread(target=_load, name="preload", daemon=True).start()


def _load() -> None:
    with contextlib.suppress(Exception):  # whatever needs it reports what is wrong
        importlib.import_module(_NEEDED_FIRST)
