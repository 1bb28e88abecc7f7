"""Watches: selections sent to a peer for one lease, which asking again renews. Pure: time is an argument."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from typing import Protocol

from sidecar.hosts import sender_of
from sidecar.model.snapshot import Target
from sidecar.osc.publisher import Line, Publisher
from sidecar.osc.table.selection import Selection

LEASE_S = 60.0
MOST = 64
"""Ours: a studio's screens, lights and scripts many times over, and a bounded load for the engine."""
MOST_OF_ONE = MOST // 4
"""Of one host, so that one host cannot use up all watches."""


class Peer(Protocol):
    """The sender of a packet, over UDP or a stream."""

    @property
    def key(self) -> Hashable:
        """Address and port, or the stream; different for each sender."""

    @property
    def host(self) -> str: ...

    @property
    def is_proven(self) -> bool:
        """Whether its address cannot be forged: over a stream, or on this machine."""

    @property
    def status(self) -> Target: ...

    def send_packet(self, packet: bytes) -> None:
        """Sends one packet back; returns at once and never raises."""


@dataclass(slots=True)
class Lease:
    """The line that a peer watches, and when it ends."""

    peer: Peer
    line: Line
    ends_s: float


class TooManyWatches(ValueError):
    """No lease is left for this host, or for any."""


class Watches:
    """Keeps at most MOST watches, one for each peer."""

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher
        self._leases: dict[Hashable, Lease] = {}

    def grant(self, peer: Peer, selection: Selection, rate_hz: float, now_s: float) -> Line:
        """Sends *peer* a selection for one lease from now on, in place of the one before; returns its line.
        Raises TooManyWatches where no lease is left."""
        self.expire(now_s)
        if peer.key not in self._leases:
            self._check_room_for(peer.host)
        before = self._leases.pop(peer.key, None)
        if before:
            self._publisher.remove(before.line)
            peer = before.peer
        line = Line(selection, 1.0 / rate_hz, peer.send_packet)
        self._leases[peer.key] = Lease(peer, line, now_s + LEASE_S)
        self._publisher.add_line(line, now_s)
        return line

    def _check_room_for(self, host: str) -> None:
        sender = sender_of(host)
        if sum(sender_of(lease.peer.host) == sender for lease in self._leases.values()) >= MOST_OF_ONE:
            raise TooManyWatches(
                f"{host} has {MOST_OF_ONE} watches, the most of one host: end one with /unwatch"
            )
        if len(self._leases) >= MOST:
            raise TooManyWatches(f"there are {MOST} watchers, the most there may be: end one with /unwatch")

    def holds(self, peer: Peer, now_s: float) -> bool:
        """Whether *peer* has a lease that has not ended."""
        lease = self._leases.get(peer.key)
        return lease is not None and lease.ends_s > now_s

    def is_known(self, key: Hashable) -> bool:
        """Whether the peer of that key has a lease."""
        return key in self._leases

    def cancel(self, peer: Peer) -> None:
        """Ends the watch of *peer*; does nothing where it has none."""
        lease = self._leases.pop(peer.key, None)
        if lease:
            self._publisher.remove(lease.line)

    def expire(self, now_s: float) -> None:
        """Ends the watches that were not renewed."""
        for lease in [lease for lease in self._leases.values() if lease.ends_s <= now_s]:
            self.cancel(lease.peer)

    def status(self) -> tuple[Target, ...]:
        """Returns counts of datagrams for each watcher; may be called from any thread."""
        return tuple(
            replace(lease.peer.status, is_screen=lease.line.selection.has_details)
            for lease in list(self._leases.values())
        )
