"""Which version of the program this is."""

from __future__ import annotations

from functools import cache
from importlib.metadata import PackageNotFoundError, version


@cache
def program_version() -> str:
    """Such as ``0.2.0``; ``unknown`` where it runs from a copy that nobody installed."""
    try:
        return version("loudness-sidecar")
    except PackageNotFoundError:
        return "unknown"
