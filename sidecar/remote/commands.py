"""Commands as messages: the table's obeying the other way round."""

from __future__ import annotations

from sidecar.model.snapshot import Command
from sidecar.osc import codec
from sidecar.osc.addresses import INCOMING, ROOT

_ROWS = {
    (row.verb, len(row.tags) == 2): row for row in INCOMING
}  # /start and /continue differ in their verbs


def datagram(command: Command, root: str = ROOT) -> bytes:
    """One message that asks a run with that root for it."""
    row = _ROWS[command.verb, isinstance(command.value, tuple)]
    values: tuple[codec.Value, ...] = ()
    if isinstance(command.value, tuple):
        values = command.value
    elif row.tags:
        values = ("" if command.value is None else command.value,)
    made: bytes = codec.message(root + row.path, row.tags.replace("n", "s"), values).dgram
    return made
