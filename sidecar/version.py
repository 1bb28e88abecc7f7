"""The version of the program."""

from __future__ import annotations

from functools import cache
from importlib.metadata import PackageNotFoundError, version


@cache
def program_version() -> str:
    """Returns the version, such as ``0.2.0``; ``unknown`` where the package is not installed."""
    try:
        return version("loudness-sidecar")
    except PackageNotFoundError:
        return "unknown"
