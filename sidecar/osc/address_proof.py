"""Proof that a UDP address receives what is sent to it. Pure: time is an argument.

The source address of a datagram can be forged. So before readings are sent to an address on another machine,
a small packet with a number is sent there, and only its receiver can send the number back. Until then no
state is kept for an address: the number is a keyed digest of it and of the time.
"""

from __future__ import annotations

import hmac
import secrets
from collections import OrderedDict
from collections.abc import Hashable

VALID_S = 60.0
"""How long a proven address may watch; while its watch lasts it needs no other proof."""
_SLOT_S = 10.0
"""A number is valid in the slot that it was made for, and in the next one."""
_MOST = 256


class AddressProofs:
    """Makes the numbers to send, and keeps the addresses that sent theirs back."""

    def __init__(self) -> None:
        self._secret = secrets.token_bytes(32)
        self._until_s: OrderedDict[Hashable, float] = OrderedDict()

    def number(self, address: Hashable, now_s: float) -> int:
        """Returns the number that *address* has to send back: 31 bits."""
        return self._number(address, int(now_s // _SLOT_S))

    def prove(self, address: Hashable, number: int, now_s: float) -> bool:
        """Returns whether *number* is that of *address*, and if so marks the address as proven."""
        slot = int(now_s // _SLOT_S)
        if number not in (self._number(address, slot), self._number(address, slot - 1)):
            return False
        self._until_s[address] = now_s + VALID_S
        self._until_s.move_to_end(address)
        if len(self._until_s) > _MOST:
            self._until_s.popitem(last=False)
        return True

    def holds(self, address: Hashable, now_s: float) -> bool:
        """Whether *address* was proven within the last VALID_S."""
        return self._until_s.get(address, now_s) > now_s

    def _number(self, address: Hashable, slot: int) -> int:
        digest = hmac.digest(self._secret, repr((address, slot)).encode(), "sha256")
        return int.from_bytes(digest[:4], "big") >> 1
