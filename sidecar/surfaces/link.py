"""The connection to a workstation's faders: where to send, and where feedback is accepted from."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any

from sidecar.errors import NetworkError
from sidecar.model.commands import FaderAt, StemFaderAt
from sidecar.model.snapshot import FaderTouch
from sidecar.osc.access import same_host
from sidecar.osc.sockets.destinations import Destination, resolve
from sidecar.surfaces.claim import FaderClaim
from sidecar.surfaces.fader_line import FaderLine
from sidecar.surfaces.surface import Surface


@dataclass(frozen=True, slots=True)
class SurfacePeer:
    """The workstation's own address."""

    host: str
    port: int | None
    """None where any port of that host is accepted."""

    def is_sender(self, key: Hashable) -> bool:
        """Whether a datagram from *key*, a socket's address, is the workstation's."""
        match key:
            case (str(host), int(port), *_):
                return same_host(host, self.host) and self.port in (None, port)
        return False

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port is None else f"{host}:{self.port}"


def peer_at(destination: Destination) -> SurfacePeer:
    """Returns the peer of a workstation that sends from the address at which it receives OSC."""
    return SurfacePeer(*destination.address[:2])


def peer_from(text: str) -> SurfacePeer:
    """Returns the peer at ``HOST:PORT``, or at any port of ``HOST``.

    Raises NetworkError where the host is not found.
    """
    has_port = text.count(":") == 1 or "]:" in text
    if has_port:
        return peer_at(resolve(text))
    host = text.removeprefix("[").removesuffix("]")
    try:
        found = resolve(f"[{host}]:1" if ":" in host else f"{host}:1")
    except NetworkError as error:
        raise NetworkError(f"--surface-from: give HOST or HOST:PORT, not '{text}'. {error}") from error
    return SurfacePeer(found.address[0], None)


class SurfaceLink:
    """A surface and its workstation: the ``osc.workstation.Workstation`` of an OSC port."""

    def __init__(
        self,
        surface: Surface,
        target: Destination,
        sender: SurfacePeer | None = None,
        *,
        clock: Callable[[], float],
        claim: FaderClaim | None = None,
    ) -> None:
        """target: where the workstation receives OSC.
        sender: where it sends from; None for the same address and port.
        clock: ``sources.sleep.real_time_s``, unless it is a simulated workstation with a time of its own.
        claim: locks its master fader against other runs on this machine.
        """
        self.surface = surface
        self.target = target
        self.peer = sender or peer_at(target)
        """The address that its feedback is accepted from."""
        self.fader = FaderLine(
            self._send_fader,
            query=self._send_query,
            clock=clock,
            rounding_db=surface.rounding_db,
            claim=claim,
        )
        """Guarded access to its master fader."""
        self._send: Callable[[bytes], None] | None = None

    @property
    def name(self) -> str:
        return self.surface.name

    @property
    def feedback_address(self) -> str:
        return self.surface.feedback_address

    @property
    def addresses(self) -> tuple[str, ...]:
        """All addresses that the workstation sends."""
        surface = self.surface
        page_address = surface.pages.address if surface.pages else None
        asides = (surface.stem_feedback_address, surface.touch_address, page_address)
        return tuple(filter(None, (surface.feedback_address, *asides)))

    def feedback(self, address: str, arguments: list[Any]) -> FaderAt | StemFaderAt | FaderTouch | None:
        """Returns what :meth:`Surface.feedback` does; changes the page where the message asks for one."""
        if self.surface.pages and self.surface.pages.turn_page(address, arguments):
            return None
        return self.surface.feedback(address, arguments)

    def connect(self, send: Callable[[bytes], None]) -> None:
        """Stores *send*, which hands a datagram for the workstation to the network."""
        self._send = send

    def _send_fader(self, position_db: float) -> None:
        """One datagram from the socket that takes commands, so that the answer comes back to it."""
        if self._send:
            self._send(self.surface.message(position_db).dgram)

    def _send_query(self) -> None:
        query = self.surface.query()
        if self._send and query:
            self._send(query.dgram)
