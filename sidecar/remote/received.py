"""The latest message of each address received from a sidecar. Those that do not fit the table are ignored."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from sidecar.model.foreign_text import printable
from sidecar.osc.table.addresses import OUTGOING, ROOT
from sidecar.osc.table.exchange import ANSWERS
from sidecar.osc.table.screen_addresses import DETAILS

Arguments = tuple[Any, ...]

_ONE_BY_ONE = {row.path for row in DETAILS if row.is_numbered} | {"/goals/goal"}
"""Addresses with a message for each of several items, which begins with its place and their number."""
_MOST = 1_000
"""Ours: more than any field has items; it bounds the memory that a wrong number can take."""
_LONGEST_TEXT = 1_000
"""Characters. Ours: some four times the longest sentence of a run (``details.NAME_BYTES``)."""
NOT_ALWAYS = (
    *("/peak/channels", "/peak/held", "/peak/now", "/correlation"),
    *(row.path for row in OUTGOING if row.path.startswith("/dialogue/")),
)
"""Readings that have no value at times; then nothing is sent."""
_FIRST_READING = OUTGOING[0].path
_TAGS = (
    {row.path: row.tags for row in OUTGOING}
    | {row.path: row.tags for row in DETAILS}
    | {row.path: row.tags for row in ANSWERS}
)
_KINDS: dict[str, type] = {"f": float, "i": int, "s": str, "b": bytes}


class ReceivedMessages:
    """The latest arguments of each address."""

    def __init__(self) -> None:
        self._one: dict[str, Arguments] = {}
        self._several: dict[str, dict[int, Arguments]] = {}
        self._counts: dict[str, int] = {}

    def __contains__(self, path: str) -> bool:
        return path in self._one or path in self._several

    def receive_message(self, path: str, arguments: Arguments) -> None:
        """Stores one message, by its path below the root, as :func:`sound` returns it."""
        if path in _ONE_BY_ONE:
            self._store_one_of_several(path, *arguments)
            return
        if path == _FIRST_READING:
            for optional in NOT_ALWAYS:
                self._one.pop(optional, None)  # it follows in the same packet, where there is a value
        self._one[path] = arguments

    def one(self, path: str) -> Arguments:
        """Returns the arguments of an address; none where no message has arrived."""
        return self._one.get(path, ())

    def several(self, path: str) -> list[Arguments]:
        """Returns the arguments of each item of an address, in order of their places."""
        return [arguments for _, arguments in sorted(self._several.get(path, {}).items())]

    def _store_one_of_several(self, path: str, place: int, count: int, *arguments: Any) -> None:
        if self._counts.get(path) != count:
            self._counts[path] = count
            self._several[path] = {}
        if 0 <= place < count <= _MOST:
            self._several[path][place] = arguments


def sound(address: str, arguments: Sequence[Any], root: str = ROOT) -> tuple[str, Arguments] | None:
    """Returns path below *root* and arguments of a message that fits the table; None of any other.

    Texts are cut to :data:`_LONGEST_TEXT`. Figures are the shortest decimals that are the same on the wire:
    0.2 was sent as the float32 next to 0.2.
    """
    path = address.removeprefix(root)
    tags = _TAGS.get(path)
    if tags is None or not address.startswith(root) or not _fit(tags, arguments):
        return None
    return path, tuple(map(_clean, arguments))


def _clean(value: Any) -> Any:
    if isinstance(value, float):
        return float(str(np.float32(value)))
    return printable(value, _LONGEST_TEXT) if isinstance(value, str) else value


def _fit(tags: str, arguments: Sequence[Any]) -> bool:
    plain = tags.rstrip("*")
    if len(arguments) != len(plain) and (plain == tags or not len(plain) < len(arguments) <= _MOST):
        return False
    return all(
        type(value) is _KINDS[plain[min(place, len(plain) - 1)]]
        and (not isinstance(value, float) or math.isfinite(value))
        for place, value in enumerate(arguments)
    )
