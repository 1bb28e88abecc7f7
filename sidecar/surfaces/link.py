"""How a workstation's faders are reached, and from where its word on them is accepted."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass

from sidecar.errors import NetworkError
from sidecar.osc.access import same_host
from sidecar.osc.destinations import Destination, resolve
from sidecar.surfaces.fader_line import real_time_s
from sidecar.surfaces.surface import Surface


@dataclass(frozen=True, slots=True)
class SurfacePeer:
    """The workstation's own address."""

    host: str
    port: int | None
    """None where any port of that host counts."""

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
    """The workstation that answers from where it takes OSC."""
    return SurfacePeer(*destination.address[:2])


def peer_from(text: str) -> SurfacePeer:
    """The one at ``HOST:PORT``, or at any port of ``HOST``.

    Raises NetworkError where the host is not found.
    """
    has_port = text.count(":") == 1 or "]:" in text
    if has_port:
        return peer_at(resolve(text))
    host = text.removeprefix("[").removesuffix("]")
    try:
        found = resolve(f"[{host}]:1" if ":" in host else f"{host}:1")
    except NetworkError as error:
        raise NetworkError(f"--surface-from takes HOST or HOST:PORT, not '{text}'. {error}") from error
    return SurfacePeer(found.address[0], None)


@dataclass(frozen=True, slots=True)
class SurfaceLink:
    """A surface and the workstation at its other end."""

    surface: Surface
    target: Destination
    """Where the workstation takes OSC."""
    sender: SurfacePeer | None = None
    """From where it sends; None for the same place."""
    clock: Callable[[], float] = real_time_s
    """Real time, unless it is a simulated workstation with a time of its own."""

    @property
    def peer(self) -> SurfacePeer:
        """From where its word counts."""
        return self.sender or peer_at(self.target)
