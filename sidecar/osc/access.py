"""Who may speak to the port, and how much. Pure: time is an argument."""

from __future__ import annotations

import ipaddress
import math
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

from sidecar.errors import NetworkError
from sidecar.hosts import THIS_MACHINE, address_of, sender_of

Network = ipaddress.IPv4Network | ipaddress.IPv6Network

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
TOGETHER = 4.0
"""All senders elsewhere together have so many times what one has: addresses can be forged without number."""


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

    def spend(self, amount: float, now_s: float, rate_hz: float, most: float) -> bool:
        """Takes *amount* where there is as much."""
        self.left = min(most, self.left + max(0.0, now_s - self.now_s) * rate_hz)
        self.now_s = now_s
        if self.left < amount:
            return False
        self.left -= amount
        return True


class Allowances:
    """What each sender may have of one thing, and all of them elsewhere together."""

    def __init__(self, rate_hz: float, most: float) -> None:
        self._rate_hz, self._most = rate_hz, most
        self._own: OrderedDict[str, Allowance] = OrderedDict()
        self._together = Allowance(TOGETHER * most, -math.inf)

    def __len__(self) -> int:
        """Senders that something is remembered of."""
        return len(self._own)

    def take(self, host: str, amount: float, now_s: float, times: float = 1.0) -> bool:
        """Takes *amount* where *host* has as much. times: of the usual allowance, for a sender that is known;
        it does not count among the others."""
        sender = sender_of(host)
        own = self._of(sender, times * self._most, now_s)
        if not own.spend(amount, now_s, times * self._rate_hz, times * self._most):
            return False
        if sender == THIS_MACHINE or times > 1.0:
            return True
        return self._together.spend(amount, now_s, TOGETHER * self._rate_hz, TOGETHER * self._most)

    def _of(self, sender: str, most: float, now_s: float) -> Allowance:
        """That sender's. Of many senders the one that was silent for longest is forgotten."""
        allowance = self._own.setdefault(sender, Allowance(most, now_s))
        self._own.move_to_end(sender)
        if len(self._own) > _MOST_SENDERS:
            self._own.popitem(last=False)
        return allowance


class AccessPolicy:
    """This machine may speak, and who is on the list. Each sender has an allowance."""

    def __init__(self, allow: Sequence[Network] = (), desk: str | None = None) -> None:
        """desk: the address of the workstation whose faders are listened to."""
        self._allow = allow
        self._desk = None if desk is None else address_of(desk)
        self._messages = Allowances(MESSAGES_HZ, MESSAGES_AT_ONCE)
        self._packets = Allowances(PACKETS_HZ, PACKETS_AT_ONCE)
        self._answers = Allowances(ANSWERS_HZ, ANSWERS_AT_ONCE)
        self._parts = Allowances(PARTS_HZ, PARTS_AT_ONCE)

    def is_allowed(self, host: str) -> bool:
        """Whether a sender at this address is heard at all."""
        address = address_of(host)
        return address is not None and (
            address.is_loopback or any(address in allowed for allowed in self._allow)
        )

    def is_desk(self, host: str) -> bool:
        """Whether that is the workstation whose faders are listened to."""
        return self._desk is not None and address_of(host) == self._desk

    def has_room_for(self, host: str, size: int, now_s: float) -> bool:
        """Whether that sender may send a packet of so many bytes now; counts it."""
        times = DESK_TIMES if self.is_desk(host) else 1.0
        return self._packets.take(host, 1 + size // BYTES_A_TOKEN, now_s, times)

    def may_say(self, host: str, now_s: float) -> bool:
        """Whether that sender may say one thing more now; counts it."""
        return self._messages.take(host, 1, now_s)

    def may_be_answered(self, host: str, now_s: float) -> bool:
        """Whether that sender gets one more answer now; counts it."""
        return self._answers.take(host, 1, now_s)

    def may_be_shown(self, host: str, now_s: float) -> bool:
        """Whether that sender gets one more packet of what was before; counts it."""
        return self._parts.take(host, 1, now_s)


def is_this_machine(host: str) -> bool:
    """Whether that is an address of the loopback interface."""
    address = address_of(host)
    return address is not None and address.is_loopback


def same_host(one: str, other: str) -> bool:
    """Whether both are the same address, however they are written."""
    address = address_of(one)
    return address is not None and address == address_of(other)
