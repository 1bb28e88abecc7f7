"""The options of a run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sidecar.advice.programme.advisor import Earlier
from sidecar.advice.programme.outlook import STRAY_DB
from sidecar.run.remote_fader import RemoteFader
from sidecar.run.stem_faders import Mix
from sidecar.settings.goals import Goal

if TYPE_CHECKING:
    from sidecar.journal.record import Record
    from sidecar.journal.writer import Journal
    from sidecar.meter.layouts import LayoutOrigin
    from sidecar.run.audio_recorder import AudioRecorder
    from sidecar.speech.model import SpeechModel

UPDATE_HZ = 10.0
"""Tech 3341 §2.2 asks for at least 10 readings of short-term a second."""
SCREEN_HZ = 20.0
"""Rate of the screen: moving parts are drawn as often, so that they move smoothly."""


@dataclass(frozen=True, slots=True)
class RunOptions:
    """Everything but the source and the outlets."""

    goal: Goal
    layout: str | None = None
    """Channel layout for the meter; None is the usual one for the source's channels."""
    layout_from: LayoutOrigin = "assumed"
    """Where that comes from."""
    duration_s: float | None = None
    """Length of the pass; where None, the source's own, or else that of the earlier pass. That of a source
    without an end is counted from the first sound."""
    earlier: Earlier | None = None
    """A pass measured before, used as the forecast of this one."""
    stray_db: float = STRAY_DB
    """How far the fader may stray from the gain of a whole pass, to land the one that plays."""
    mix: Mix | None = None
    """The stems, where the source's channels are stems side by side."""
    speech: SpeechModel | None = None
    """What finds dialogue in the mix automatically; a stem that is the dialogue is named in *mix*."""
    remote: RemoteFader | None = None
    """The workstation's master fader, where a surface reaches it."""
    recorder: AudioRecorder | None = None
    """Where the measured audio is written; None for nowhere."""
    journal: Journal | None = None
    """Where the passes are recorded; None for nowhere."""
    resumed: Record | None = None
    """The recorded pass that the run continues."""
    from_first_sound: bool = False
    """Whether a pass begins with its first sound above the absolute gate, after each reset too."""
    fast: bool = False
    """The source runs faster than real time, so time is counted in its frames."""
    update_hz: float = UPDATE_HZ
