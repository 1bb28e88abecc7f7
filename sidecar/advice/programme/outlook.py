"""What the forecast says of a pass at one moment: what the steady adviser chooses from."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sidecar.loudness.series import Floats
from sidecar.model.readings import Move

STRAY_DB = 2.0
"""How far a fader may stray from the gain of a whole pass, to repair the average of one, unless another
figure is given. Ours: more is heard as another balance of the programme's parts."""

_LIKELY = (0.3, 0.7)
"""The gain of a whole pass is taken to lie between these quantiles of its chances. Ours, chosen on the tuning
half of tests/benchmarks/recordings.py."""

_SURELY_UP = 0.25
"""Where it is in more doubt than the bound is wide, the fader is raised to this quantile at most: music
builds up, and a rise on a soft opening is what a later look would take back."""


@dataclass(frozen=True, slots=True)
class Bound:
    """How far the fader may go, dB from where it is, for the sake of the pass that plays."""

    lowest_db: float
    highest_db: float

    def held(self, gain_db: float) -> float:
        """*gain_db*, as far as the bound allows it."""
        return min(max(gain_db, self.lowest_db), self.highest_db)

    def with_present(self) -> Bound:
        """This bound, widened so that the fader may be left where it is."""
        return Bound(min(self.lowest_db, 0.0), max(self.highest_db, 0.0))


def bound(whole_gains_db: Floats, stray_db: float) -> tuple[Bound, float]:
    """The bound round the gain of a whole pass, and how much that gain may be off, dB.

    Where that gain is in more doubt than the bound is wide, the fader only goes as far as it is likely to
    have to go in any case, and stays where it is if that is likely enough.

    whole_gains_db: the gains that would land a whole pass, ascending and equally likely, dB from the present.
    """
    low_db, high_db = (float(gain_db) for gain_db in np.quantile(whole_gains_db, _LIKELY))
    doubt_db = (high_db - low_db) / 2.0
    if doubt_db <= stray_db:
        return Bound(high_db - stray_db, low_db + stray_db), doubt_db
    surely_up_db = float(np.quantile(whole_gains_db, _SURELY_UP))
    stay_db = min(max(0.0, surely_up_db), high_db)
    return Bound(stay_db, stay_db), doubt_db


def doubt_of(whole_gains_db: Floats) -> float:
    """How much the gain of a whole pass may be off, dB; *whole_gains_db* as :func:`bound` has them."""
    low_db, high_db = np.quantile(whole_gains_db, _LIKELY)
    return float(high_db - low_db) / 2.0


@dataclass(frozen=True, slots=True)
class Outlook:
    """The forecast at one moment, from where the fader is."""

    move: Move
    """The move that the forecast asks for."""
    from_top: Move
    """The move that lands a whole pass of this material."""
    at: Callable[[float], Move]
    """Returns landing and likely range of a change in dB, without a reason."""
    doubt_db: float
    """How much the gain that is asked for may be off."""
    lands_this_pass: bool
    is_known: bool = False
    """True where an earlier pass says what is to come."""
    is_out_of_reach: bool = False
    """True where no move inside the bound is likely to bring the pass into the tolerance."""
    heard_lu: float = 0.0
    """How far the material so far is over the target at the present fader."""
    expected_lu: float = 0.0
    """How far the whole of it is expected to be."""
    headroom_db: float = math.inf
    """From the highest true peak so far, at the present fader, up to the ceiling; negative over it."""
