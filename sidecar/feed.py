"""What a screen is given and what it may ask for: the seam between the engine and ``tui``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from sidecar.goals import Goal
from sidecar.vocabulary import Alert, Move, Reading

Transport = Literal["preparing", "waiting", "measuring", "paused", "ended"]
"""preparing: kernels compile, the device opens. waiting: no audio has arrived yet or it stopped."""

Verb = Literal["start", "pause", "continue", "reset", "goal", "mark", "acknowledge", "fader", "follow"]


@dataclass(frozen=True, slots=True)
class Command:
    """Something a person, a script or a surface asks of a run.

    value: for goal its name; for mark a label (may be empty); for fader its position in dB;
    for follow None (make the move that is advised, where the sidecar holds the fader).
    """

    verb: Verb
    value: str | float | None = None


@dataclass(frozen=True, slots=True)
class Target:
    """One place that OSC goes to."""

    name: str
    """``host:port`` as the person gave it."""
    sent: int = 0
    """Datagrams handed to the network."""
    failed: int = 0
    fault: str = ""
    """The last failure in words, empty when the last datagram went out."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at a place in the programme."""

    seconds: float
    kind: Literal["alert", "mark", "move", "gap", "goal", "pause"]
    text: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that is known at one moment of a run."""

    transport: Transport
    goal: Goal
    reading: Reading = field(default_factory=Reading)
    next_pass: Move = field(default_factory=Move)
    """The move that lands a whole pass of this material."""
    this_pass: Move | None = None
    """The move that lands the pass that is playing; None while its length is unknown."""
    alerts: tuple[Alert, ...] = ()
    fader_db: float = 0.0
    """Where the programme fader stands, as far as the sidecar was told."""
    holds_fader: bool = False
    """True when the sidecar itself moves the fader (the rehearsal's), so that ``follow`` works."""
    source: str = ""
    rate_hz: int = 0
    layout: str = ""
    duration_s: float | None = None
    lost_frames: int = 0
    targets: tuple[Target, ...] = ()
    beat: int = 0
    """Whole seconds since the run began: proof of life for whoever listens."""
    notice: str = ""
    """The latest thing worth saying in one line: a fault, a compile, a device that came back."""


@dataclass(frozen=True, slots=True)
class Course:
    """The programme so far, one column each 100 ms of programme, and what happened in it."""

    seconds: NDArray[np.float32]
    """End of each column, seconds since the last reset, ascending."""
    short_term: NDArray[np.float32]
    integrated: NDArray[np.float32]
    fader_db: NDArray[np.float32]
    events: tuple[Event, ...] = ()


class Feed(Protocol):
    """A run as a screen sees it; every call returns at once."""

    def snapshot(self) -> Snapshot: ...

    def course(self) -> Course: ...

    def goals(self) -> Sequence[Goal]:
        """The goals that a ``goal`` command may name."""

    def send(self, command: Command) -> None: ...
