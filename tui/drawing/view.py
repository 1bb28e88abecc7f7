"""All that a panel needs to draw itself once."""

from __future__ import annotations

from dataclasses import dataclass, field

from sidecar.model.snapshot import Snapshot, Timeline
from tui.drawing.wording import Sides


@dataclass(frozen=True, slots=True)
class KeyNames:
    """The keys that sentences name, as their owner has them."""

    arm: str = "x"
    follow: str = "f"


USUAL_KEYS = KeyNames()


@dataclass(frozen=True, slots=True)
class View:
    """A moment of the run and how the person wants to see it."""

    snapshot: Snapshot
    history: Timeline
    relative: bool = False
    """True: LU relative to the goal; False: LUFS. Both are asked for by EBU Tech 3341 §2.7."""
    reach_lu: float = 18.0
    """How far under the goal the scales reach: 18 covers "EBU +9", 36 "EBU +18" (Tech 3341 §2.7)."""
    time_of_day: str = ""
    """By the clock of the machine that shows the screen, h:mm:ss; empty where it is not shown."""
    zoom_s: float | None = None
    """Seconds of programme that the history shows; None is the whole programme."""
    cursor_s: float | None = None
    """Where the person looks back to, seconds of programme; None while the history follows now."""
    answer: str = ""
    """What the key that was pressed last has done, for a few seconds."""
    fault: str = ""
    """What went wrong in the screen itself; it is said in place of the run's notice."""
    arm_is_news: bool = False
    """True while the sentence about arming is new, so that it is shown in full."""
    before: Sides = field(default_factory=Sides)
    """How the measures were coloured at the look before, for the hysteresis."""
    half_blocks: bool = True
    """False where the terminal cannot show half blocks, so that large text is set another way."""
    keys: KeyNames = USUAL_KEYS
    plays_again: bool = False
    """True for a rehearsal, which can be played again after its end."""
    is_line_slow: bool = False
    """True while the terminal takes fewer drawings than it is meant to show."""
