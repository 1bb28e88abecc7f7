"""The interface of a workstation with OSC addresses of its own, as the OSC port needs it."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, Protocol

from sidecar.model.commands import FaderAt, StemFaderAt
from sidecar.model.snapshot import FaderTouch
from sidecar.osc.sockets.destinations import Destination


class WorkstationPeer(Protocol):
    """The address that feedback is accepted from; as text, in the form that options take."""

    @property
    def host(self) -> str: ...

    def is_sender(self, key: Hashable) -> bool:
        """Whether a datagram from *key*, a socket's address, is the workstation's."""


class WorkstationFader(Protocol):
    """Guarded access to its master fader."""

    stranger: str
    """A sentence on the last other sender to the feedback address; empty for none."""

    @property
    def clock(self) -> Callable[[], float]: ...

    def confirm(self, position_db: float) -> float:
        """Records a position that the workstation reports; returns the time in seconds of :attr:`clock`."""


class Workstation(Protocol):
    """The addresses of its faders, and its feedback on them."""

    @property
    def name(self) -> str: ...

    @property
    def target(self) -> Destination:
        """Where it receives OSC."""

    @property
    def peer(self) -> WorkstationPeer: ...

    @property
    def fader(self) -> WorkstationFader: ...

    @property
    def feedback_address(self) -> str:
        """The address of its reports of the master fader."""

    @property
    def addresses(self) -> tuple[str, ...]:
        """All addresses that it sends, that one included."""

    def feedback(self, address: str, arguments: list[Any]) -> FaderAt | StemFaderAt | FaderTouch | None:
        """Returns the fader position, or the touch, that a message reports; None for anything else.

        Raises ValueError, with the reason, for arguments that do not fit.
        """

    def connect(self, send: Callable[[bytes], None]) -> None:
        """*send* hands a datagram for :attr:`target` to the network; called once, before any is sent."""
