"""What ``sidecar check --archive`` prints of the files that are not as they were in the last run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import TextIO

from sidecar.delivery.batch.store import Change, Since
from sidecar.model.foreign_text import printable
from sidecar.model.units import figure

_LISTED = 20
"""Ours: files of one kind that are named; the rest is counted."""
_MARKS: dict[Since, str] = {"new": "+", "changed": "~", "readable": "~", "gone": "−", "again": "="}
_WORDS: dict[Since, str] = {
    "new": "new",
    "changed": "changed",
    "readable": "readable now",
    "gone": "gone",
    "again": "measured again: other version or layout, or now with dialogue",
}


def print_changes(changes: Iterable[Change], unit: str, to: TextIO) -> None:
    """How many changes there are of each kind and a line for each; nothing where there are none."""
    count = Counter[Since]()
    lines = []
    for change in changes:
        count[change.since] += 1
        if change.since != "again" and count[change.since] <= _LISTED:
            lines.append(f"{_MARKS[change.since]} {printable(change.file)}{_levels(change, unit)}\n")
    if not count:
        return
    said = ", ".join(f"{count[since]:,} {_WORDS[since]}" for since in _WORDS if count[since])
    print(f"Since the last run: {said}.", file=to)
    print("".join(lines), end="", file=to)
    left = sum(max(0, count[since] - _LISTED) for since in _WORDS if since != "again")
    if left:
        print(f"and {left:,} more.", file=to)
    if count["gone"]:
        print("Missing files stay in the archive until you add --forget.", file=to)


def _levels(change: Change, unit: str) -> str:
    """What it read before and reads now, where both are known."""
    if change.before_lufs is None or change.now_lufs is None:
        return ""
    return f": {figure(change.before_lufs)} → {figure(change.now_lufs)} {unit}"
