"""OSC messages as requests, checked against the address table."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from sidecar.model.commands import Command
from sidecar.osc.patterns import Pattern, is_pattern
from sidecar.osc.sockets.destinations import FASTEST_HZ, SLOWEST_HZ
from sidecar.osc.table.addresses import INCOMING, ROOT, SENT, Incoming, Outgoing
from sidecar.osc.table.exchange import DROPS, DropReason, drop_path
from sidecar.osc.table.selection import Selection, select


@dataclass(frozen=True, slots=True)
class Question:
    """A request for present values."""

    rows: tuple[Outgoing, ...]
    counters: tuple[DropReason, ...] = ()


@dataclass(frozen=True, slots=True)
class Watch:
    """A request to be sent a selection, or to renew that."""

    selection: Selection
    rate_hz: float | None


@dataclass(frozen=True, slots=True)
class BacklogRequest:
    """A request for earlier data: a part of the history, events from a place on, or the available goals."""

    what: Literal["history", "events", "goals"]
    first: int = 0
    count: int = 0


@dataclass(frozen=True, slots=True)
class Proof:
    """The number of ``/verify``, sent back by its receiver."""

    number: int


ServiceRequest = Literal["unwatch"]
Request = Command | Question | Watch | BacklogRequest | Proof | ServiceRequest


class Refusal(ValueError):
    """A message that is refused, with the reason."""

    def __init__(self, reason: DropReason, words: str) -> None:
        super().__init__(words)
        self.reason: DropReason = reason


_COUNTS = {1: "one argument", 2: "two arguments"}


class RequestParser:
    """Parses messages to addresses below one root."""

    def __init__(self, root: str = ROOT) -> None:
        self._root = root
        self._commands = {root + entry.path: entry for entry in INCOMING}
        self._rows = {root + row.path: row for row in SENT}
        self._counters = {root + drop_path(reason): reason for reason in DROPS}
        self._services: dict[str, Callable[[str, list[Any]], Request]] = {
            f"{root}/watch": self._watch,
            f"{root}/verified": lambda address, arguments: Proof(*_places(address, arguments, 1)),
            f"{root}/unwatch": lambda _address, _arguments: "unwatch",
            f"{root}/history": lambda address, arguments: BacklogRequest(
                "history", *_places(address, arguments, 2)
            ),
            f"{root}/events": lambda address, arguments: BacklogRequest(
                "events", *_places(address, arguments, 1)
            ),
            f"{root}/goals": lambda address, arguments: BacklogRequest(
                "goals", *_places(address, arguments, 0)
            ),
        }

    def request(self, address: str, arguments: list[Any]) -> Request | None:
        """Returns the request of one message; None for the release of a button.

        An outgoing address, or a pattern of some, without arguments requests the present values. A command
        needs its plain address: no wildcard resets a measurement.
        Raises Refusal for an unknown address, wrong arguments or a value out of range.
        """
        if is_pattern(address):
            return self._pattern(address, arguments)
        if address in self._rows or address in self._counters:
            return self._question(address, arguments)
        service = self._services.get(address)
        return service(address, arguments) if service else self._command(address, arguments)

    def _command(self, address: str, arguments: list[Any]) -> Command | None:
        """Returns the command. One without arguments may carry one number, as buttons of control surfaces
        send it: 0 is the release. A whole number is accepted where a float is expected."""
        entry = self._commands.get(address)
        if entry is None:
            raise Refusal("address", f"{address} is no address of the sidecar")
        if entry.tags == "":
            return _button(entry, address, arguments)
        if len(arguments) != len(entry.tags):
            raise _unfit(address, _COUNTS[len(entry.tags)], len(arguments))
        values = [_READ[tag](entry, address, value) for tag, value in zip(entry.tags, arguments, strict=True)]
        return entry.command(*values)

    def _pattern(self, address: str, arguments: list[Any]) -> Question:
        if arguments:
            raise Refusal("argument", "a pattern only reads values: send a command to its plain address")
        try:
            pattern = Pattern(address)
        except ValueError as error:
            raise Refusal("address", str(error)) from error
        question = Question(
            tuple(row for plain, row in self._rows.items() if pattern.matches(plain)),
            tuple(reason for plain, reason in self._counters.items() if pattern.matches(plain)),
        )
        if not question.rows and not question.counters:
            raise Refusal("address", "the pattern names no address that can be read")
        return question

    def _question(self, address: str, arguments: list[Any]) -> Question:
        if arguments:
            raise Refusal(
                "argument",
                f"{address} is sent by the sidecar: send it without arguments to read it",
            )
        if address in self._rows:
            return Question((self._rows[address],))
        return Question((), (self._counters[address],))

    def _watch(self, address: str, arguments: list[Any]) -> Watch:
        """Returns the watch: words first, then an optional rate."""
        rate_hz = None
        if arguments and _is_number(arguments[-1]):
            *arguments, rate_hz = arguments
            if not SLOWEST_HZ <= rate_hz <= FASTEST_HZ:
                raise Refusal(
                    "argument",
                    f"{address} needs {SLOWEST_HZ:g} to {FASTEST_HZ:g} readings a second, not {rate_hz:g}",
                )
        if not all(isinstance(word, str) for word in arguments):
            raise Refusal("argument", f"{address} needs groups or addresses, then an optional rate")
        try:
            return Watch(select(tuple(arguments), self._root), rate_hz)
        except ValueError as error:
            raise Refusal("argument", str(error)) from error


def _places(address: str, arguments: list[Any], count: int) -> list[int]:
    """Returns *count* arguments as whole numbers from 0 on. Raises Refusal for any others."""
    whole = [int(value) for value in arguments if _is_number(value) and value >= 0 and value == value // 1]
    if len(whole) != count or len(arguments) != count:
        wanted = _COUNTS.get(count, "no argument")
        raise Refusal("argument", f"{address} needs {wanted}, whole numbers from 0 on; not {arguments!r}")
    return whole


def _button(entry: Incoming, address: str, arguments: list[Any]) -> Command | None:
    if not arguments:
        return entry.command()
    if len(arguments) > 1 or not isinstance(arguments[0], int | float):
        raise _unfit(address, "no argument, or one number from a button", arguments)
    return entry.command() if arguments[0] else None


def _text(_entry: Incoming, address: str, value: Any) -> str:
    if not isinstance(value, str):
        raise _unfit(address, "a text", value)
    return value


def _name(_entry: Incoming, address: str, value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise _unfit(address, "a name or a whole number first", value)
    return str(value)


def _number(entry: Incoming, address: str, value: Any) -> float:
    if not _is_number(value) or not math.isfinite(value):
        raise _unfit(address, "a number", value)
    if not entry.low <= value <= entry.high:
        raise _unfit(address, f"{entry.low:g} to {entry.high:g} {entry.unit}", value)
    return float(value)


def _switch(_entry: Incoming, address: str, value: Any) -> bool:
    if not isinstance(value, int | float) or value not in {0, 1}:
        raise _unfit(address, "0 or 1", value)
    return bool(value)


_READ: dict[str, Callable[[Incoming, str, Any], str | float]] = {
    "s": _text,
    "n": _name,
    "f": _number,
    "i": _switch,
}
"""Reads one argument by its tag. Each raises Refusal."""


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _unfit(address: str, wanted: str, value: Any) -> Refusal:
    return Refusal("argument", f"{address} needs {wanted}, not {value!r}")
