"""What an OSC message asks for, checked against the table."""

from __future__ import annotations

import math
from typing import Any

from sidecar.feed import Command
from sidecar.osc.table import INCOMING, ROOT, Incoming

_BY_ADDRESS = {ROOT + entry.path: entry for entry in INCOMING}
_COUNTS = {1: "one argument", 2: "two arguments"}


def command(address: str, arguments: list[Any]) -> Command | None:
    """The command of one message; None when a button says that it was let go.

    A command without arguments may carry one number, as buttons of control surfaces do: 0 is
    letting go. A whole number is taken where a float is wanted.
    Raises ValueError, with the reason, for an unknown address, wrong arguments or a value out of range.
    """
    entry = _BY_ADDRESS.get(address)
    if entry is None:
        raise ValueError(f"{address} is no address of the sidecar's")
    if entry.tags == "":
        return _button(entry, arguments)
    if len(arguments) != len(entry.tags):
        raise ValueError(f"{address} takes {_COUNTS[len(entry.tags)]}, not {len(arguments)}")
    if entry.tags == "nf":
        return Command(entry.verb, (_name(entry, arguments[0]), _number(entry, arguments[1])))
    take = _text if entry.tags == "s" else _number
    return Command(entry.verb, take(entry, arguments[0]))


def _button(entry: Incoming, arguments: list[Any]) -> Command | None:
    if not arguments:
        return Command(entry.verb)
    if len(arguments) > 1 or not isinstance(arguments[0], int | float):
        raise ValueError(f"{ROOT}{entry.path} takes no argument, or one number from a button")
    return Command(entry.verb) if arguments[0] else None


def _text(entry: Incoming, value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{ROOT}{entry.path} takes a text, not {value!r}")
    return value


def _name(entry: Incoming, value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise ValueError(f"{ROOT}{entry.path} takes a name or a whole number first, not {value!r}")
    return str(value)


def _number(entry: Incoming, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{ROOT}{entry.path} takes a number, not {value!r}")
    if not entry.low <= value <= entry.high:
        raise ValueError(
            f"{ROOT}{entry.path} takes {entry.low:g} to {entry.high:g} {entry.unit}, not {value:g}"
        )
    return float(value)
