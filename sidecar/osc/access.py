"""Who may speak to the port, and how much. Pure: time is an argument."""

from __future__ import annotations

import ipaddress
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from sidecar.errors import NetworkError

Network = ipaddress.IPv4Network | ipaddress.IPv6Network
Address = ipaddress.IPv4Address | ipaddress.IPv6Address

LARGEST_PACKET = 8_192
"""Bytes. Ours: a command takes less than 100; a workstation's bundle of all its faders some thousand."""

# Ours, for each sender. A hand on a surface makes some 100 messages a second.
PACKETS_HZ = 500.0
PACKETS_AT_ONCE = 1_000.0
BYTES_A_TOKEN = 256
"""What a packet takes of that allowance: 1, and 1 more for each so many bytes, since bundles hold much."""
DESK_TIMES = 10.0
"""A workstation tells of its meters and all its faders besides, some thousand times a second: so many times
what others may send, lest the one fader that counts be lost among them."""
MESSAGES_HZ = 500.0
"""Commands and questions, each on its own, however they are packed."""
MESSAGES_AT_ONCE = 1_000.0
ANSWERS_HZ = 50.0
ANSWERS_AT_ONCE = 100.0
PARTS_HZ = 160.0
"""Packets of the course of a programme, 1 KB each: an hour of it in three seconds."""
PARTS_AT_ONCE = 160.0
_MOST_SENDERS = 256


def network(text: str) -> Network:
    """An address such as 192.168.1.20, or a network such as 192.168.1.0/24.

    Raises NetworkError when it is neither.
    """
    try:
        return ipaddress.ip_network(text)
    except ValueError as error:
        raise NetworkError(
            f"'{text}' cannot be allowed to speak over OSC ({error}): give an address such as 192.168.1.20 "
            "or a network such as 192.168.1.0/24."
        ) from error


@dataclass(slots=True)
class Allowance:
    """So much at once, and so much a second (a token bucket)."""

    left: float
    now_s: float

    def take(self, amount: float, now_s: float, rate_hz: float, most: float) -> bool:
        """Takes *amount* where there is as much."""
        self.left = min(most, self.left + max(0.0, now_s - self.now_s) * rate_hz)
        self.now_s = now_s
        if self.left < amount:
            return False
        self.left -= amount
        return True


class AccessPolicy:
    """This machine may speak, and who is on the list. Each sender has an allowance."""

    def __init__(self, allow: Sequence[Network] = (), desk: str | None = None) -> None:
        """desk: the address of the workstation whose faders are listened to."""
        self._allow = allow
        self._desk = None if desk is None else _address(desk)
        self._messages: OrderedDict[str, Allowance] = OrderedDict()
        self._packets: OrderedDict[str, Allowance] = OrderedDict()
        self._answers: OrderedDict[str, Allowance] = OrderedDict()
        self._parts: OrderedDict[str, Allowance] = OrderedDict()

    def let_in(self, host: str) -> bool:
        """Whether a sender at this address is heard at all."""
        address = _address(host)
        return address is not None and (
            address.is_loopback or any(address in allowed for allowed in self._allow)
        )

    def is_desk(self, host: str) -> bool:
        """Whether that is the workstation whose faders are listened to."""
        return self._desk is not None and _address(host) == self._desk

    def has_room_for(self, host: str, size: int, now_s: float) -> bool:
        """Whether that sender may send a packet of so many bytes now; counts it."""
        times = DESK_TIMES if self.is_desk(host) else 1.0
        allowance = _of(self._packets, host, times * PACKETS_AT_ONCE, now_s)
        return allowance.take(1 + size // BYTES_A_TOKEN, now_s, times * PACKETS_HZ, times * PACKETS_AT_ONCE)

    def may_say(self, host: str, now_s: float) -> bool:
        """Whether that sender may say one thing more now; counts it."""
        allowance = _of(self._messages, host, MESSAGES_AT_ONCE, now_s)
        return allowance.take(1, now_s, MESSAGES_HZ, MESSAGES_AT_ONCE)

    def may_be_answered(self, host: str, now_s: float) -> bool:
        """Whether that sender gets one more answer now; counts it."""
        allowance = _of(self._answers, host, ANSWERS_AT_ONCE, now_s)
        return allowance.take(1, now_s, ANSWERS_HZ, ANSWERS_AT_ONCE)

    def may_be_shown(self, host: str, now_s: float) -> bool:
        """Whether that sender gets one more packet of what was before; counts it."""
        allowance = _of(self._parts, host, PARTS_AT_ONCE, now_s)
        return allowance.take(1, now_s, PARTS_HZ, PARTS_AT_ONCE)


def is_this_machine(host: str) -> bool:
    """Whether that is an address of the loopback interface."""
    address = _address(host)
    return address is not None and address.is_loopback


def same_host(one: str, other: str) -> bool:
    """Whether both are the same address, however they are written."""
    address = _address(one)
    return address is not None and address == _address(other)


@lru_cache(maxsize=1024)
def _address(host: str) -> Address | None:
    """Without the zone of a link-local address, and IPv4 as itself where a socket for both wraps it."""
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return None
    mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return mapped or address


def _of(allowances: OrderedDict[str, Allowance], host: str, most: float, now_s: float) -> Allowance:
    """That sender's allowance. Of many senders the one that was silent for longest is forgotten."""
    allowance = allowances.setdefault(host, Allowance(most, now_s))
    allowances.move_to_end(host)
    if len(allowances) > _MOST_SENDERS:
        allowances.popitem(last=False)
    return allowance
