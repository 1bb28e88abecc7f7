"""Subscriptions as leases that end unless they are renewed. Pure: time is an argument."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Protocol

from sidecar.hosts import sender_of
from sidecar.model.snapshot import Target
from sidecar.osc.publisher import Line, Publisher
from sidecar.osc.table.selection import Selection

LEASE_S = 60.0
MOST = 64
"""Ours: a studio's screens, lights and scripts many times over, and a bounded load for the engine."""
MOST_OF_ONE = MOST // 4
"""Of one host, so that one host cannot use up all subscriptions."""


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
    """A subscription and when it ends."""

    peer: Peer
    line: Line
    ends_s: float


class Subscriptions:
    """Keeps at most MOST subscriptions, one for each peer."""

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher
        self._leases: dict[Hashable, Lease] = {}

    def grant(self, peer: Peer, selection: Selection, rate_hz: float, now_s: float) -> str:
        """Sends *peer* a selection from now on, in place of the one before; returns why not, or nothing."""
        self.expire(now_s)
        full = "" if peer.key in self._leases else self._full_for(peer.host)
        if full:
            return full
        before = self._leases.pop(peer.key, None)
        if before:
            self._publisher.remove(before.line)
            peer = before.peer
        line = Line(selection, 1.0 / rate_hz, peer.send_packet)
        self._leases[peer.key] = Lease(peer, line, now_s + LEASE_S)
        self._publisher.add_line(line, now_s)
        return ""

    def _full_for(self, host: str) -> str:
        sender = sender_of(host)
        if sum(sender_of(lease.peer.host) == sender for lease in self._leases.values()) >= MOST_OF_ONE:
            return f"{host} has {MOST_OF_ONE} subscriptions, and no more are given to one host"
        if len(self._leases) >= MOST:
            return f"there are {MOST} subscribers, and no more are taken"
        return ""

    def renew(self, peer: Peer, now_s: float) -> Line | None:
        """Renews the lease of *peer* and returns its line; None where it has no lease."""
        self.expire(now_s)
        lease = self._leases.get(peer.key)
        if lease is None:
            return None
        lease.ends_s = now_s + LEASE_S
        return lease.line

    def holds(self, peer: Peer, now_s: float) -> bool:
        """Whether *peer* has a lease that has not ended."""
        lease = self._leases.get(peer.key)
        return lease is not None and lease.ends_s > now_s

    def is_known(self, key: Hashable) -> bool:
        """Whether the peer of that key has a lease."""
        return key in self._leases

    def cancel(self, peer: Peer) -> None:
        """Ends the subscription of *peer*; does nothing where it has none."""
        lease = self._leases.pop(peer.key, None)
        if lease:
            self._publisher.remove(lease.line)

    def expire(self, now_s: float) -> None:
        """Ends the subscriptions that were not renewed."""
        for lease in [lease for lease in self._leases.values() if lease.ends_s <= now_s]:
            self.cancel(lease.peer)

    def status(self) -> tuple[Target, ...]:
        """Returns counts of datagrams for each subscriber; may be called from any thread."""
        return tuple(lease.peer.status for lease in list(self._leases.values()))
