"""Access to the OSC port: allowed senders and rate limits for each. Pure: time is an argument."""

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

# Ours, for each sender. Moving a control on a surface makes some 100 messages a second.
PACKETS_HZ = 500.0
PACKETS_AT_ONCE = 1_000.0
BYTES_A_TOKEN = 256
"""A packet costs 1 token, and 1 more for each so many bytes, since a bundle holds many messages."""
WORKSTATION_FACTOR = 10.0
"""The workstation's packet rate, as a multiple of any other sender's: its feedback includes meters and all
faders, some thousand messages a second, and the master fader must not be dropped among them."""
MESSAGES_HZ = 500.0
"""Commands and queries, counted one by one, in a bundle too."""
MESSAGES_AT_ONCE = 1_000.0
ANSWERS_HZ = 50.0
ANSWERS_AT_ONCE = 100.0
PARTS_HZ = 160.0
"""Packets of the loudness history, 1 KB each: an hour of programme takes three seconds."""
PARTS_AT_ONCE = 160.0
_MOST_SENDERS = 256
TOGETHER = 4.0
"""The rate of all senders on other machines together, as a multiple of one sender's: source addresses can be
forged in any number."""


def network(text: str) -> Network:
    """An address such as 192.168.1.20, or a network such as 192.168.1.0/24.

    Raises NetworkError when it is neither.
    """
    try:
        return ipaddress.ip_network(text)
    except ValueError as error:
        raise NetworkError(
            f"'{text}' cannot be allowed to send OSC ({error}): give an address (192.168.1.20) or a network "
            "(192.168.1.0/24)."
        ) from error


@dataclass(slots=True)
class Allowance:
    """A token bucket: a burst size and a refill rate."""

    left: float
    now_s: float

    def spend(self, amount: float, now_s: float, rate_hz: float, most: float) -> bool:
        """Takes *amount* tokens and returns True; False, taking none, where fewer are left."""
        self.left = min(most, self.left + max(0.0, now_s - self.now_s) * rate_hz)
        self.now_s = now_s
        if self.left < amount:
            return False
        self.left -= amount
        return True


class Allowances:
    """One token bucket for each sender, and one shared by all senders on other machines."""

    def __init__(self, rate_hz: float, most: float) -> None:
        self._rate_hz, self._most = rate_hz, most
        self._own: OrderedDict[str, Allowance] = OrderedDict()
        self._together = Allowance(TOGETHER * most, -math.inf)

    def __len__(self) -> int:
        """The number of senders that have a bucket."""
        return len(self._own)

    def spend(self, host: str, amount: float, now_s: float, times: float = 1.0) -> bool:
        """Takes *amount* tokens of *host* and returns True; False where too few are left.

        times: multiple of the usual rate, for the workstation, which is not counted in the shared bucket.
        """
        sender = sender_of(host)
        own = self._of(sender, times * self._most, now_s)
        if not own.spend(amount, now_s, times * self._rate_hz, times * self._most):
            return False
        if sender == THIS_MACHINE or times > 1.0:
            return True
        return self._together.spend(amount, now_s, TOGETHER * self._rate_hz, TOGETHER * self._most)

    def _of(self, sender: str, most: float, now_s: float) -> Allowance:
        """The sender's bucket, made on first use; above _MOST_SENDERS the least recently used is removed."""
        allowance = self._own.setdefault(sender, Allowance(most, now_s))
        self._own.move_to_end(sender)
        if len(self._own) > _MOST_SENDERS:
            self._own.popitem(last=False)
        return allowance


class AccessPolicy:
    """Allows this machine and the listed networks, each sender at a limited rate."""

    def __init__(self, allow: Sequence[Network] = (), workstation: str | None = None) -> None:
        """workstation: the address of the workstation whose fader feedback is accepted."""
        self._allow = allow
        self._workstation = None if workstation is None else address_of(workstation)
        self._messages = Allowances(MESSAGES_HZ, MESSAGES_AT_ONCE)
        self._packets = Allowances(PACKETS_HZ, PACKETS_AT_ONCE)
        self._answers = Allowances(ANSWERS_HZ, ANSWERS_AT_ONCE)
        self._parts = Allowances(PARTS_HZ, PARTS_AT_ONCE)

    def is_allowed(self, host: str) -> bool:
        """Whether packets from this address are accepted."""
        address = address_of(host)
        return address is not None and (
            address.is_loopback or any(address in allowed for allowed in self._allow)
        )

    def is_workstation(self, host: str) -> bool:
        """Whether that is the workstation whose fader feedback is accepted."""
        return self._workstation is not None and address_of(host) == self._workstation

    def has_room_for(self, host: str, size: int, now_s: float) -> bool:
        """Whether a packet of *size* bytes from that sender is within its rate; counts it."""
        times = WORKSTATION_FACTOR if self.is_workstation(host) else 1.0
        return self._packets.spend(host, 1 + size // BYTES_A_TOKEN, now_s, times)

    def may_say(self, host: str, now_s: float) -> bool:
        """Whether one more message of that sender is within its rate; counts it."""
        return self._messages.spend(host, 1, now_s)

    def may_be_answered(self, host: str, now_s: float) -> bool:
        """Whether one more answer to that sender is within its rate; counts it."""
        return self._answers.spend(host, 1, now_s)

    def may_be_shown(self, host: str, now_s: float) -> bool:
        """Whether one more packet of the backlog to that sender is within its rate; counts it."""
        return self._parts.spend(host, 1, now_s)


def is_this_machine(host: str) -> bool:
    """Whether that is an address of the loopback interface."""
    address = address_of(host)
    return address is not None and address.is_loopback


def same_host(one: str, other: str) -> bool:
    """Whether both are the same address, however they are written."""
    address = address_of(one)
    return address is not None and address == address_of(other)
