"""Encodes commands as OSC messages, by the table that the server parses them with."""

from __future__ import annotations

from dataclasses import astuple

from sidecar.model.commands import Command
from sidecar.osc import codec
from sidecar.osc.table.addresses import INCOMING, ROOT

_ROWS = {row.command: row for row in INCOMING}


def datagram(command: Command, root: str = ROOT) -> bytes:
    """Returns the command as one message for a run with that root."""
    row = _ROWS[type(command)]
    values: tuple[codec.Value, ...] = astuple(command)[: len(row.tags)]
    made: bytes = codec.message(root + row.path, row.tags.replace("n", "s"), values).dgram
    return made
