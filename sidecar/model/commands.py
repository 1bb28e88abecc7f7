"""The commands of a run, from a person, a script or a surface: one dataclass a verb."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Start:
    """Measure on after a pause."""

    verb: ClassVar[str] = "start"


@dataclass(frozen=True, slots=True)
class Pause:
    """Hold the integrated measures."""

    verb: ClassVar[str] = "pause"


@dataclass(frozen=True, slots=True)
class Continue:
    """Measure on after a pause."""

    verb: ClassVar[str] = "continue"


@dataclass(frozen=True, slots=True)
class Reset:
    """Begin a new programme."""

    verb: ClassVar[str] = "reset"


@dataclass(frozen=True, slots=True)
class ResetPeaks:
    """Begin the held peaks anew, and nothing else."""

    verb: ClassVar[str] = "peak reset"


@dataclass(frozen=True, slots=True)
class SelectGoal:
    """Measure against another goal."""

    verb: ClassVar[str] = "goal"
    name: str


@dataclass(frozen=True, slots=True)
class SelectEarlierPass:
    """Forecast from another earlier pass."""

    verb: ClassVar[str] = "earlier"
    name: str
    """``last``, its number on record, or ``none``."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Set a marker at this place in the programme."""

    verb: ClassVar[str] = "mark"
    label: str = ""


@dataclass(frozen=True, slots=True)
class MarkDialogue:
    """Dialogue begins at this place in the programme, or ends."""

    verb: ClassVar[str] = "dialogue"
    is_on: bool


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """The held alerts have been seen."""

    verb: ClassVar[str] = "acknowledge"


@dataclass(frozen=True, slots=True)
class FaderAt:
    """The position of the master fader; where the sidecar moves it, its new position."""

    verb: ClassVar[str] = "fader"
    position_db: float
    """``-inf`` for a closed fader."""


@dataclass(frozen=True, slots=True)
class Nudge:
    """By how much the master fader was, or is to be, moved."""

    verb: ClassVar[str] = "nudge"
    change_db: float


@dataclass(frozen=True, slots=True)
class StemFaderAt:
    """The position of a stem's fader; where the sidecar moves it, its new position."""

    verb: ClassVar[str] = "fader"
    stem: str
    """Its name, or its number from 1."""
    position_db: float
    """``-inf`` for a closed fader."""


@dataclass(frozen=True, slots=True)
class Follow:
    """Make the advised move, where the sidecar may move the fader."""

    verb: ClassVar[str] = "follow"


@dataclass(frozen=True, slots=True)
class Arm:
    """The sidecar may move the workstation's fader."""

    verb: ClassVar[str] = "arm"


@dataclass(frozen=True, slots=True)
class Disarm:
    """It may not any more."""

    verb: ClassVar[str] = "disarm"
    reason: str = ""
    """A sentence where it is not a person's doing."""


FaderCommand = FaderAt | Nudge | Follow | Arm | Disarm
"""What concerns the master fader."""

Command = (
    Start
    | Pause
    | Continue
    | Reset
    | ResetPeaks
    | SelectGoal
    | SelectEarlierPass
    | Mark
    | MarkDialogue
    | Acknowledge
    | StemFaderAt
    | FaderCommand
)
