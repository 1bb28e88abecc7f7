"""Loads what is slow to load while a run waits for something else."""

from __future__ import annotations

import contextlib
import importlib
import threading

_MODULES = ("sidecar.run.metering", "scipy.special")
"""What the first reading and the first advice need: the compiler, and Student's t."""


def preload() -> None:
    """Begins to load modules in a thread of its own, while the sound system is asked for its inputs, say."""
    threading.Thread(target=_load, name="preload", daemon=True).start()


def _load() -> None:
    for module in _MODULES:
        with contextlib.suppress(Exception):  # whatever needs it reports what is wrong
            importlib.import_module(module)
