"""The OSC table as OSCQuery nodes: rows and a snapshot in, plain JSON values out.

Source of every attribute name, of ACCESS's figures and of the shapes of RANGE, UNIT and OVERLOADS: the public
OSCQuery proposal, from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache
from typing import Any

from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec
from sidecar.osc.table.addresses import INCOMING, OUTGOING, ROOT, Incoming, Outgoing
from sidecar.osc.table.exchange import SERVICES, Exchange

Node = dict[str, Any]
Packets = Callable[[str], bytes | None]
"""Returns the values of a readable path as an OSC message; None where it has none."""

NAME = "Loudness Sidecar"

READ, WRITE = 1, 2
"""ACCESS: 0 for a mere container, 1 to read, 2 to write, 3 for both."""

OFFERED = ("ACCESS", "VALUE", "RANGE", "DESCRIPTION", "UNIT", "OVERLOADS")
"""The optional attributes that nodes here may have."""

ATTRIBUTES = frozenset(
    {*OFFERED, "FULL_PATH", "CONTENTS", "TYPE", "TAGS", "EXTENDED_TYPE", "CRITICAL", "CLIPMODE"}
)
"""All attributes of the proposal: one that a node lacks is absent, any other name is a mistake."""


class Tree:
    """Every address of the tables below ``/`` that has a value or takes a command."""

    def __init__(
        self,
        outgoing: Iterable[Outgoing] = OUTGOING,
        incoming: Iterable[Incoming] = INCOMING,
        root: str = ROOT,
    ) -> None:
        self._sent = {root + row.path: row for row in outgoing}
        self._incoming = {root + row.path: row for row in incoming}
        self._services = {root + row.path: row for row in SERVICES}
        self._children: dict[str, dict[str, str]] = {"/": {}}
        for path in (*self._sent, *self._incoming, *self._services):
            self._grow(path)

    def __contains__(self, path: str) -> bool:
        return path in self._children

    @property
    def readable(self) -> frozenset[str]:
        """The paths that have values."""
        return frozenset(self._sent)

    def node(self, path: str, snapshot: Snapshot | None) -> Node:
        """Returns the node and all below it. Raises KeyError where there is none."""
        found = self.attributes(path, snapshot)
        if self._children[path]:
            found["CONTENTS"] = {name: self.node(at, snapshot) for name, at in self._children[path].items()}
        return found

    def attributes(self, path: str, snapshot: Snapshot | None) -> Node:
        """Returns the node without those below it; VALUE is absent where the snapshot has none."""
        if path in self._services:
            return {"FULL_PATH": path, "ACCESS": WRITE} | _service_attributes(self._services[path])
        sent, incoming = self._sent.get(path), self._incoming.get(path)
        found: Node = {"FULL_PATH": path, "ACCESS": (READ if sent else 0) | (WRITE if incoming else 0)}
        if sent:
            found |= _sent_attributes(path, sent, snapshot)
        if incoming:
            found |= _incoming_attributes(incoming)
        if sent and incoming:
            found["DESCRIPTION"] = f"{sent.sentence}; to set it: {incoming.sentence}"
        return found

    def packets(self, snapshot: Snapshot | None) -> Packets:
        """Returns a function from path to OSC message of that snapshot, each message built once."""

        @cache
        def packet(path: str) -> bytes | None:
            row = self._sent[path]
            values = row.read(snapshot) if snapshot else ()
            return codec.message(path, row.tags, values).dgram if values else None

        return packet

    def _grow(self, path: str) -> None:
        parent = "/"
        for name in path.strip("/").split("/"):
            child = f"{parent.rstrip('/')}/{name}"
            self._children[parent][name] = child
            self._children.setdefault(child, {})
            parent = child


def _sent_attributes(path: str, row: Outgoing, snapshot: Snapshot | None) -> Node:
    values = row.read(snapshot) if snapshot else ()
    tags = _repeated(row.tags, len(values))
    found: Node = {"DESCRIPTION": row.sentence, "TYPE": tags}
    if values:
        found["VALUE"] = codec.message(path, row.tags, values).arguments
    return found | _units(row.unit, tags)


def _incoming_attributes(row: Incoming) -> Node:
    tags = row.tags.replace("n", "s")
    found: Node = {"DESCRIPTION": row.sentence, "TYPE": tags} | _ranges(row, tags) | _units(row.unit, tags)
    if "n" in row.tags:
        by_number = row.tags.replace("n", "i")
        found["OVERLOADS"] = [{"TYPE": by_number}]
    return found


def _service_attributes(row: Exchange) -> Node:
    """Returns the attributes; no TYPE where arguments are optional, which the proposal cannot express."""
    return {"DESCRIPTION": row.sentence} | ({} if "[" in row.tags else {"TYPE": row.tags})


def _repeated(tags: str, values: int) -> str:
    """Returns one tag a value: a trailing ``*`` repeats the one before it, and counts once without values."""
    plain = tags.rstrip("*")
    return plain if plain == tags else plain + plain[-1] * (values - len(plain))


def _units(unit: str, tags: str) -> Node:
    """Returns units in the trade's own words: the proposal's list has neither LUFS nor dBTP."""
    return {"UNIT": [unit if tag in "fi" else "" for tag in tags]} if unit else {}


def _ranges(row: Incoming, tags: str) -> Node:
    if not {"f", "i"} & set(tags):
        return {}
    return {"RANGE": [{"MIN": row.low, "MAX": row.high} if tag in "fi" else {} for tag in tags]}
