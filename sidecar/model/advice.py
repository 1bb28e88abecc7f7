"""The advice as shown and sent: it changes only at looks, so that a person can follow it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from sidecar.model.readings import Move

State = Literal["listening", "hold", "on_goal", "move", "ended"]
"""listening: too little programme was measured. hold: nothing is worth doing yet. on_goal: the landing is
inside the tolerance with the fader left where it is. move: move the fader. ended: the pass is over, and
:func:`sidecar.loudness.limits.find_broken_limits` of the reading gives the verdict."""


@dataclass(frozen=True, slots=True)
class Advice:
    """The advice on the master fader.

    It changes at looks, 5 to 30 s of programme apart, when a person moved the fader, and at once where
    waiting would break a limit. It is advice: nothing is moved. A rise can hurt ears and loudspeakers.
    """

    state: State = "listening"
    move: Move = field(default_factory=Move)
    """The move to make now. ``gain_db`` is 0 unless the state is ``move``; landing, likely range and reason
    always go with that gain."""
    from_top: Move = field(default_factory=Move)
    """The change that makes a whole pass of this material land on the target, played from the top."""
    lands_this_pass: bool = False
    """Whether ``move.landing`` is that of the pass that plays. Where its length is not known, or it has
    ended, it is that of a whole pass of this material."""
    next_look_at_s: float | None = None
    """Programme time of the next look, seconds since the reset; None where no look follows. (A count of the
    seconds left would change ten times a second, and with it an advice that is the same.)"""
    trend: int = 0
    """Where the next look heads: −1 further down, 0 about the same, 1 further up."""
    more_to_come: bool = False
    """True where the move is a first step: the landing is still outside the tolerance."""
    restart_fader_db: float | None = None
    """Set where the goal lies past the stray bound: finish and land at ``move.landing``, or start again with
    the fader at this position."""
    range_widened_lu: float = 0.0
    """How much the fader moves of this pass widened its loudness range so far."""

    def next_look_in_s(self, seconds: float) -> float | None:
        """Seconds of programme left until the next look when *seconds* have been measured."""
        return None if self.next_look_at_s is None else max(0.0, self.next_look_at_s - seconds)
