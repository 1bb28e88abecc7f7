"""A client that watches a sidecar over OSC, and asks again before each lease ends."""

from __future__ import annotations

import contextlib
import math
import socket
import time
from typing import Any

from sidecar.errors import NetworkError
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import Destination
from sidecar.osc.table.addresses import ROOT, checked_root
from sidecar.osc.table.selection import EVERYTHING
from sidecar.osc.watches import LEASE_S

_RENEW_S = LEASE_S / 3
"""Two requests may be lost on the network before a lease ends."""
_TIMEOUT_S = 3.0
"""A datagram arrives each second while a watch lasts. After so long without one, the sidecar was
restarted or does not run: a request is sent each second."""


class WatchClient:
    """A UDP socket that one sidecar's readings are sent to. Times are seconds of any one clock."""

    def __init__(self, source: Destination, root: str = ROOT) -> None:
        """source: the command port of a sidecar, with the groups and the rate to watch.
        root: what its addresses begin with.
        Raises NetworkError for an invalid root, and for an address that cannot be that of one machine.
        """
        self._source = source
        self._root = checked_root(root)
        self._requested_s = -math.inf
        self._received_s = -math.inf
        self.socket = socket.socket(source.family, socket.SOCK_DGRAM)
        try:
            self.socket.connect(source.address)  # datagrams from other addresses are discarded
        except OSError as error:
            self.socket.close()
            raise NetworkError(
                f"'{source.name}' cannot be reached ({error}): give the address of one machine. A link-local "
                "address needs its interface, such as fe80::1%eth0."
            ) from error

    def keep_up(self, now_s: float) -> None:
        """Sends the watch request when it is due; call it several times a second."""
        if now_s < self._requested_s + (1.0 if self.is_unheard(now_s) else _RENEW_S):
            return
        self._requested_s = now_s
        self._send(self._request().dgram)

    def verify(self, *arguments: Any) -> None:
        """Sends the number of ``/verify`` back, which proves that packets to this address arrive."""
        if len(arguments) != 1 or not isinstance(arguments[0], int):
            return
        verified = codec.message(f"{self._root}/verified", "i", arguments)
        for bundle in codec.bundles([verified, self._request()], time.time()):
            self._send(bundle)

    def note_answer(self, now_s: float) -> None:
        """Records that a packet has arrived."""
        self._received_s = now_s

    def is_unheard(self, now_s: float) -> bool:
        """Whether no packet has arrived for _TIMEOUT_S, or none at all."""
        return now_s - self._received_s > _TIMEOUT_S

    def close(self) -> None:
        """Ends the watch and closes the socket."""
        self._send(codec.message(f"{self._root}/unwatch", "", []).dgram)
        self.socket.close()

    def _request(self) -> Any:
        selection, rate_hz = self._source.selection, self._source.rate_hz
        words = [] if selection is EVERYTHING else list(dict.fromkeys(row.group for row in selection.rows))
        rate = [] if rate_hz is None else [rate_hz]
        tags = "s" * len(words) + "f" * len(rate)
        return codec.message(f"{self._root}/watch", tags, [*words, *rate])

    def _send(self, datagram: bytes) -> None:
        with contextlib.suppress(OSError):  # no sidecar listens there now: the request is repeated later
            self.socket.send(datagram)
