"""How its owner last set the screen: read at the start, written when a key has changed it.

A file of the program's own. What in it cannot be used is left out: it must never stop a measurement.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Literal, get_args

from sidecar.settings.locations import own_configs
from sidecar.storage.atomic_file import write_whole

Contrast = Literal["usual", "high"]
Shade = Literal["dark", "light"]
Ground = Literal["auto", "dark", "light"]
"""Auto: as the terminal, or the browser, says."""

_NAME_LENGTH = 80
"""Characters of a goal's name. Ours."""


@dataclass(frozen=True, slots=True)
class Taste:
    """What the screen remembers."""

    goal: str = ""
    """Name of the goal that was chosen last; empty where none was."""
    unit: Literal["LUFS", "LU"] = "LUFS"
    reach_lu: float = 18.0
    """How far under the goal the scales reach."""
    zoom_s: float = 0.0
    """Seconds of programme that the history shows; 0 is the whole."""
    contrast: Contrast = "usual"
    ground: Ground = "auto"


AT_FIRST = Taste()


def taste_file() -> Path:
    """Returns where it is remembered."""
    return own_configs() / "screen.toml"


def remembered(path: Path | None = None) -> Taste:
    """Returns what *path* remembers; what is missing, or cannot be used, as at a first start."""
    try:
        table = tomllib.loads((path or taste_file()).read_bytes().decode())
    except (OSError, ValueError, RecursionError):  # gone, unreadable, no UTF-8, no TOML
        return AT_FIRST
    return Taste(**{name: value for name, value in table.items() if _is_usable(name, value)})


def remember(taste: Taste, path: Path | None = None) -> None:
    """Writes *taste* whole, or leaves the file as it was.

    Raises OSError where it cannot be written.
    """
    path = path or taste_file()
    path.parent.mkdir(parents=True, exist_ok=True)
    lines = [f"{field.name} = {_toml(getattr(taste, field.name))}" for field in fields(taste)]
    note = "# Written by the screen of Loudness Sidecar when it closes. Delete it to start anew."
    write_whole(path, "\n".join((note, *lines, "")).encode())


def _is_usable(name: str, value: Any) -> bool:
    match name:
        case "goal":
            return isinstance(value, str) and value.isprintable() and len(value) <= _NAME_LENGTH
        case "unit":
            return value in ("LUFS", "LU")
        case "reach_lu" | "zoom_s":
            return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        case "contrast":
            return value in get_args(Contrast)
        case "ground":
            return value in get_args(Ground)
    return False


def _toml(value: str | float) -> str:
    if isinstance(value, str):  # printable: a quote and a backslash alone must be escaped (TOML 1.0, strings)
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{value:g}"
