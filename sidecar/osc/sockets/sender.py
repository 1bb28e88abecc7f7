"""Sends datagrams to resolved destinations and never waits for a network."""

from __future__ import annotations

import socket
from collections.abc import Iterable

from sidecar.osc.sockets.destinations import Destination


def hand_over(sender: socket.socket, datagram: bytes, destination: Destination) -> None:
    """Sends one datagram from a non-blocking socket, and records the outcome."""
    try:
        sender.sendto(datagram, destination.address)
    except OSError as error:
        destination.record(str(error))
    else:
        destination.record("")


class Sender:
    """One UDP socket for each family of addresses."""

    def __init__(self, destinations: Iterable[Destination]) -> None:
        self._sockets: dict[socket.AddressFamily, socket.socket] = {}
        for family in {destination.family for destination in destinations}:
            self._sockets[family] = socket.socket(family, socket.SOCK_DGRAM)
            self._sockets[family].setblocking(False)

    def send_datagram(self, datagram: bytes, destination: Destination) -> None:
        """Hands one datagram to the network and records the outcome with the destination."""
        hand_over(self._sockets[destination.family], datagram, destination)

    def close(self) -> None:
        for each in self._sockets.values():
            each.close()
