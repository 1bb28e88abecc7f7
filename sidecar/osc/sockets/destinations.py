"""OSC destinations: addresses as given on the command line, resolved once."""

from __future__ import annotations

import math
import socket
from dataclasses import dataclass, field

from sidecar.errors import NetworkError
from sidecar.model.snapshot import Target
from sidecar.osc.table.selection import EVERYTHING, GROUPS, Selection, select

SLOWEST_HZ, FASTEST_HZ = 1.0, 50.0
"""Readings a second that may be asked for."""

_HIGHEST_PORT = 65_535


def split(text: str) -> tuple[str, int]:
    """Returns host and port of ``host:port`` or ``[v6 address]:port``; a bare port means this machine.

    Raises NetworkError for any other text.
    """
    host, _, port = text.rpartition(":")
    if not port.isascii() or not port.isdigit() or not 1 <= int(port) <= _HIGHEST_PORT:
        raise NetworkError(
            f"'{text}' is no OSC target: give HOST:PORT with a port from 1 to {_HIGHEST_PORT}, "
            "for instance 127.0.0.1:9000."
        )
    return host.removeprefix("[").removesuffix("]") or "127.0.0.1", int(port)


@dataclass(slots=True)
class Destination:
    """One resolved address, with counts of datagrams sent and failed."""

    name: str
    family: socket.AddressFamily
    address: tuple[str, int] | tuple[str, int, int, int]
    selection: Selection = EVERYTHING
    """What is sent there."""
    rate_hz: float | None = None
    """Readings a second; None for the run's own rate."""
    sent: int = 0
    failed: int = 0
    fault: str = ""
    status: Target = field(init=False)

    def __post_init__(self) -> None:
        self.status = Target(self.name)

    def record(self, fault: str) -> None:
        """Counts one datagram; *fault* is empty when it went out."""
        if fault:
            self.failed += 1
        else:
            self.sent += 1
        self.fault = fault
        self.status = Target(self.name, self.sent, self.failed, fault)


def resolve(text: str) -> Destination:
    """Returns the destination of ``HOST:PORT``, ``HOST:PORT/GROUP,GROUP`` or either with ``@HZ`` behind it.

    The host is looked up only now: a name server must not delay the sending. Of a name with addresses of
    both families, as localhost often is, the IPv4 one is used: most receivers have no other.
    Raises NetworkError when the target cannot be read or the host is not found.
    """
    wanted, _, rate = text.partition("@")
    place, _, groups = wanted.partition("/")
    host, port = split(place)
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)
    except (OSError, UnicodeError) as error:
        why = getattr(error, "strerror", None) or error
        raise NetworkError(
            f"The OSC target '{place}' cannot be reached: no address is known for '{host}' ({why}). "
            "Check the name, or give the address in figures."
        ) from error
    family, _, _, _, address = min(found, key=lambda each: each[0] != socket.AF_INET)
    return Destination(text, family, address, _selection(text, wanted, groups), _rate_hz(text, rate))  # type: ignore[arg-type]


def _selection(text: str, wanted: str, groups: str) -> Selection:
    if "/" not in wanted:
        return EVERYTHING
    words = groups.split(",")
    if not set(words) <= set(GROUPS):
        raise NetworkError(
            f"'{text}' is no OSC target: after the slash give groups, separated by commas, of "
            f"{', '.join(GROUPS)}; for instance 127.0.0.1:9000/alert,run."
        )
    return select(tuple(words))


def _rate_hz(text: str, rate: str) -> float | None:
    if "@" not in text:
        return None
    try:
        rate_hz = float(rate)
    except ValueError:
        rate_hz = math.nan
    if not SLOWEST_HZ <= rate_hz <= FASTEST_HZ:
        raise NetworkError(
            f"'{text}' is no OSC target: after the @ give readings a second, {SLOWEST_HZ:g} to "
            f"{FASTEST_HZ:g}; for instance 127.0.0.1:9000@5."
        )
    return rate_hz
