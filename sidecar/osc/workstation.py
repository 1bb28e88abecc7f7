"""What a port needs of a workstation that speaks at addresses of its own; the surfaces are such."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, Protocol

from sidecar.model.commands import FaderAt, StemFaderAt
from sidecar.osc.destinations import Destination


class WorkstationPeer(Protocol):
    """From where its word counts; as text, the address that a person would give."""

    @property
    def host(self) -> str: ...

    def is_sender(self, key: Hashable) -> bool:
        """Whether a datagram from *key*, a socket's address, is the workstation's."""


class WorkstationFader(Protocol):
    """The guarded way to its programme fader."""

    stranger: str
    """Who else has spoken at the feedback address, in a sentence."""

    @property
    def clock(self) -> Callable[[], float]: ...

    def confirm(self, position_db: float) -> float:
        """Notes a report of the workstation; returns when it arrived."""


class Workstation(Protocol):
    """How its faders are reached, and what it says of them."""

    @property
    def name(self) -> str: ...

    @property
    def target(self) -> Destination:
        """Where it takes OSC."""

    @property
    def peer(self) -> WorkstationPeer: ...

    @property
    def fader(self) -> WorkstationFader: ...

    @property
    def feedback_address(self) -> str:
        """Where it says where its programme fader stands."""

    @property
    def addresses(self) -> tuple[str, ...]:
        """All that it speaks at, that one included."""

    def feedback(self, address: str, arguments: list[Any]) -> FaderAt | StemFaderAt | None:
        """What a message says of a fader; None when it is about something else.

        Raises ValueError, with the reason, for arguments that do not fit.
        """

    def connect(self, send: Callable[[bytes], None]) -> None:
        """*send* hands a datagram for :attr:`target` to the network; called once, before any is sent."""
