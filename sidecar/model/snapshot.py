"""The snapshots and protocols between the engine and its outlets, ``tui`` among them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from sidecar.model.advice import Advice
from sidecar.model.commands import Command
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import Alert, Move, Reading, Ride
from sidecar.settings.goals import Goal

Transport = Literal["preparing", "waiting", "ready", "measuring", "paused", "ended"]
"""preparing: kernels load; the device opens. waiting: no audio yet, or it stopped. ready: the meter
runs, and nothing above the absolute gate has come since the start or the reset."""

COMPILING = "Compiling the meter, once on this machine: {at} of {of}."
"""The notice while kernels compile: the first time on a machine."""


@dataclass(frozen=True, slots=True)
class FaderFeedback:
    """The workstation's own word on one of its faders."""

    position_db: float
    """``-inf`` for a closed fader."""
    received_s: float
    """When it arrived, on the clock that the fader is moved by."""
    stem: str = ""
    """The stem's number from 1; empty for the master fader."""


@dataclass(frozen=True, slots=True)
class FaderTouch:
    """The workstation's report that a hand is on its master fader."""


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
    is_screen: bool = False
    """True for a screen elsewhere that shows this run."""
    is_light: bool = False
    """Whether a lamp is driven there, whose flashing asks for a caution."""


EventKind = Literal["alert", "marker", "dialogue", "move", "gap", "goal", "pause"]


@dataclass(frozen=True, slots=True)
class Event:
    """An event at a time in the programme."""

    seconds: float
    kind: EventKind
    text: str


@dataclass(frozen=True, slots=True)
class Stem:
    """One stem of the mix and what is advised for its fader."""

    name: str
    fader_db: float
    move: Move
    true_peak: float
    """Highest true peak since the reset, dBTP."""


@dataclass(frozen=True, slots=True)
class Opening:
    """One fader to bring up from silence, in the order of a rough balance."""

    name: str
    fader_db: float
    """Where to bring it."""
    reason: str


@dataclass(frozen=True, slots=True)
class EarlierPass:
    """How an earlier pass, taken as the forecast of this one, fits it."""

    title: str
    fits: bool
    offset_s: float
    """Where in the earlier pass this one began."""
    error_db: float
    """Level difference left, root mean square; ``inf`` while too little has been measured."""


@dataclass(frozen=True, slots=True)
class PastPass:
    """A pass on record, as a list of passes shows it."""

    id: int
    began: str
    """Local date and time, in the form 2026-03-01 20:15."""
    source: str
    goal: str
    seconds: float
    integrated: float
    """LUFS."""
    loudness_range: float
    max_true_peak: float
    """dBTP."""


@dataclass(frozen=True, slots=True)
class ArmState:
    """Whether the sidecar may move the workstation's fader, and the last sentence about it."""

    surface: str
    """The surface that the fader is reached through."""
    is_armed: bool
    sentence: str
    is_waiting: bool = False
    """True while arming was asked for and the workstation has not said since where its fader is."""
    step_up_db: float = 3.0
    """Most that one move raises."""
    total_up_db: float = 6.0
    """Most that all moves of a pass raise together."""
    rate_db_s: float = 1.0
    """How fast the fader is moved up, dB a second."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that is known at one moment of a run."""

    transport: Transport
    goal: Goal
    reading: Reading = field(default_factory=Reading)
    advice: Advice = field(default_factory=Advice)
    """The advice on the master fader as shown and sent."""
    alerts: tuple[Alert, ...] = ()
    fader_db: float = 0.0
    """Position of the master fader by all feedback and reports so far."""
    controls_fader: bool = False
    """True when the sidecar itself moves the fader (the rehearsal's), so that ``follow`` works."""
    source: str = ""
    rate_hz: int = 0
    layout: str = ""
    duration_s: float | None = None
    dropped_samples: int = 0
    targets: tuple[Target, ...] = ()
    stems: tuple[Stem, ...] = ()
    """One a stem where they arrive apart; empty where only the mix does."""
    build_up: tuple[Opening, ...] = ()
    """A rough balance of the stems from silence, fader after fader."""
    earlier_pass: EarlierPass | None = None
    arm: ArmState | None = None
    """None where no surface is connected."""
    rides: tuple[Ride, ...] = ()
    """The rides that bring the pass so far into the goal's limits."""
    rides_reason: str = ""
    script_fault: str = ""
    """How a script of ``--on`` failed, until it is acknowledged; empty while all is well."""
    passes: tuple[PastPass, ...] = ()
    """The latest passes on record before this one, the last one first."""
    dialogue: DialogueLoudness | None = None
    """None where the dialogue was neither asked for nor marked."""
    is_dialogue_marked: bool = False
    """True from a marker where dialogue begins to the one where it ends."""
    timecode_start_s: float | None = None
    """Time of day at which the programme began by its own timecode, seconds from midnight; None where the
    source has no timecode."""
    beat: int = 0
    """Whole seconds since the run began; a receiver sees by it that the run is alive."""
    notice: str = ""
    """The latest thing worth saying in one line: a fault, a compile, a device that came back."""

    @property
    def moves_fader(self) -> bool:
        """Whether the sidecar can move the master fader now: the source's own, or an armed one."""
        return self.controls_fader or (self.arm is not None and self.arm.is_armed)

    @property
    def is_pass_over(self) -> bool:
        """True once the run has ended, or has measured all of a pass whose length is known: what can be said
        then is a verdict, and the move for the next pass."""
        return self.transport == "ended" or self.advice.state == "ended"


@dataclass(frozen=True, slots=True)
class Timeline:
    """The programme so far, one column each 100 ms of programme, and what happened in it."""

    seconds: NDArray[np.float32]
    """End of each column, seconds since the last reset, ascending."""
    short_term: NDArray[np.float32]
    integrated: NDArray[np.float32]
    fader_db: NDArray[np.float32]
    events: tuple[Event, ...] = ()
    dialogue: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, np.bool_))
    """Which columns have dialogue, where it is measured. A detector lags, so the last may be missing. Screens
    elsewhere are not sent it."""


class Feed(Protocol):
    """The interface between a run and a screen; every call returns at once."""

    def snapshot(self) -> Snapshot: ...

    def timeline(self) -> Timeline: ...

    def goals(self) -> Sequence[Goal]:
        """The goals that a ``goal`` command may name."""

    def send_command(self, command: Command) -> None: ...


class Outlet(Protocol):
    """Takes each snapshot as it is made; must return at once and must not raise."""

    def __call__(self, snapshot: Snapshot) -> None: ...
