"""The other end of a subscription: asks a sidecar for what it sends, again before each lease is over."""

from __future__ import annotations

import contextlib
import math
import socket
import time
from typing import Any

from sidecar.errors import NetworkError
from sidecar.osc import codec
from sidecar.osc.addresses import ROOT, checked_root
from sidecar.osc.destinations import Destination
from sidecar.osc.selection import EVERYTHING
from sidecar.osc.subscriptions import LEASE_S

_AGAIN_S = LEASE_S / 3
"""Two requests may be lost on the way before a lease ends."""
_UNHEARD_S = 3.0
"""Something comes each second while a subscription lasts. After so long without, the sidecar was started
anew, or never was there: it is asked each second."""


class SubscriptionClient:
    """A socket of its own, to which one sidecar's readings come. Times are those of any one clock."""

    def __init__(self, source: Destination, root: str = ROOT) -> None:
        """source: the command port of a sidecar, with the groups and the rate that are wanted of it.
        root: what its addresses begin with.
        Raises NetworkError for a root that is none, and where no single sidecar can be at that address.
        """
        self._source = source
        self._root = checked_root(root)
        self._asked_s = -math.inf
        self._heard_s = -math.inf
        self.socket = socket.socket(source.family, socket.SOCK_DGRAM)
        try:
            self.socket.connect(source.address)  # datagrams from anybody else do not get through
        except OSError as error:
            self.socket.close()
            raise NetworkError(
                f"'{source.name}' cannot be asked ({error}): give the address of one machine that this one "
                "reaches, of a link-local one with its interface, such as fe80::1%eth0."
            ) from error

    def keep_up(self, now_s: float) -> None:
        """Asks when it is time to; call it now and then."""
        if now_s < self._asked_s + (1.0 if self.is_unheard(now_s) else _AGAIN_S):
            return
        self._asked_s = now_s
        self._say(self._request().dgram)

    def verify(self, *arguments: Any) -> None:
        """Sends the number of ``/verify`` back: the sidecar wants to know whether packets arrive here."""
        if len(arguments) != 1 or not isinstance(arguments[0], int):
            return
        verified = codec.message(f"{self._root}/verified", "i", arguments)
        for bundle in codec.bundles([verified, self._request()], time.time()):
            self._say(bundle)

    def note_answer(self, now_s: float) -> None:
        """To be called when something has come."""
        self._heard_s = now_s

    def is_unheard(self, now_s: float) -> bool:
        """Whether nothing comes, or nothing any more."""
        return now_s - self._heard_s > _UNHEARD_S

    def close(self) -> None:
        """Says that nothing more is wanted."""
        self._say(codec.message(f"{self._root}/unsubscribe", "", []).dgram)
        self.socket.close()

    def _request(self) -> Any:
        selection, rate_hz = self._source.selection, self._source.rate_hz
        words = [] if selection is EVERYTHING else list(dict.fromkeys(row.group for row in selection.rows))
        rate = [] if rate_hz is None else [rate_hz]
        tags = "s" * len(words) + "f" * len(rate)
        return codec.message(f"{self._root}/subscribe", tags, [*words, *rate])

    def _say(self, datagram: bytes) -> None:
        with contextlib.suppress(OSError):  # nobody is there yet, or no longer: it is asked again
            self.socket.send(datagram)
