"""Choosing the gain for the rest of a pass.

The past is fixed as it was metered, the rest scales with the gain. Under the gates the landing is not
monotone in that gain and jumps where a gate moves: a rest that is brought too low stops counting at all.
So every gain is tried. A move has a price, and the landing has only to be as near as it can be known by
now: what is in doubt is left to a later look, when it is known better (Tech 3343 §3.2: correct a little,
then wait).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidecar.advice.programme.forecast import MOVES_DB, NOTHING_LUFS, over_the_gate
from sidecar.loudness.series import Floats

STEP_UP_DB = 3.0
STEP_DOWN_DB = 6.0
"""Largest moves of one look. Small corrections first, then wait (Tech 3343 §3.2), and raising slower than
lowering: starting low and rising is easier and sounds better. What was played too loud stays in the
measurement, so lowering may not take many looks. The figures are ours, from tests/benchmarks/landing.py."""

_LONGEST_LOOK_S, _SHORTEST_LOOK_S, _LOOK_SHARE = 30.0, 5.0, 0.25
"""Between looks the integrated loudness is given time to react (Tech 3343 §3.2); figures ours."""

_LAST = 1 / 30
"""Share of the pass that counts as its last: a move there changes the landing by so little that it would
never be worth its price, and nothing comes after that could undo it; so its price shrinks with the rest."""

_DEAREST = 0.13
"""LU that a decibel may cost at most: a pass shorter than a song leaves few later looks."""

_SMALLEST_DB = 0.3
"""Moves under this are not worth a hand on the fader."""

_RAISE_AT, _RAISE_AT_LAST, _LOWER_AT = 0.75, 0.6, 0.45
"""A landing is near enough while the target lies between these quantiles of the chances: the fader is
lowered once the pass is likely to land over, and raised only when it is all but sure to land under; less
sure will do the less is still to come (Tech 3343 §3.2: set a little below, start low)."""

_NEAR_LU, _HALF_STEP_DB = 0.02, 0.06
"""No landing counts as nearer than this; the second is just over what rounding to tenths costs, without
which a far gain that happens to fit better would win."""

_KNOWN_RANGE = (0.05, 0.95)
"""The likely range of a rest whose chances say all that is in doubt, as those of an earlier pass do."""


@dataclass(frozen=True, slots=True)
class Prospect:
    """Where each move may land the pass, LUFS."""

    tried_db: Floats
    """The moves of *landings*, ascending, shape (moves,); between them a landing lies on a line."""
    landings: Floats
    """Shape (moves, chances): one row for each move, ascending and equally likely."""
    price_s: float
    """See :class:`sidecar.advice.programme.forecast.Rest`."""

    def likely(self, gain_db: float) -> float:
        """The landing that is as likely missed above as below."""
        return float(self._at(0.5, gain_db))

    def likely_range(self, gain_db: float) -> tuple[float, float]:
        """The landings between which nine in ten should lie."""
        low, high = (float(self._at(share, gain_db)) for share in _KNOWN_RANGE)
        return low, high

    def nearest(self, target_lufs: float, share_to_come: float, duration_s: float) -> float:
        """The move that lands the pass as near to the target as is known and worth its price by now."""
        raise_at = _RAISE_AT_LAST + (_RAISE_AT - _RAISE_AT_LAST) * share_to_come
        low, high = self._at(_LOWER_AT), self._at(raise_at)
        error = np.maximum(low - target_lufs, target_lufs - high)
        near = max(_NEAR_LU, _HALF_STEP_DB * share_to_come)
        price = min(self.price_s / duration_s, _DEAREST) * min(share_to_come / _LAST, 1.0)
        cost = np.maximum(error, near) + price * np.abs(MOVES_DB)
        move_db = float(MOVES_DB[np.argmin(cost)])
        return 0.0 if abs(move_db) < _SMALLEST_DB else move_db

    def reachable(self, target_lufs: float) -> float:
        """The likely landing nearest to the target that any move reaches."""
        likely = self._at(0.5)
        return float(likely[np.argmin(np.abs(likely - target_lufs))])

    def _at(self, share: float, moves_db: Floats | float = MOVES_DB) -> Floats:
        """The landing of each move that this share of the chances lies under."""
        place = share * (self.landings.shape[1] - 1)
        below = int(place)
        near = np.maximum(self.landings[:, below : below + 2], NOTHING_LUFS)
        tried = near @ [below + 1 - place, place - below]
        return over_the_gate(np.interp(moves_db, self.tried_db, tried))


def likely_move(wholes: Floats, target_lufs: float) -> float:
    """The least move after which a whole pass is near enough, where no end is known that it could be landed
    by.

    wholes: where it may land with the fader left alone, LUFS, ascending and equally likely.
    """
    low, high = np.quantile(np.maximum(wholes, NOTHING_LUFS), [_LOWER_AT, _RAISE_AT])
    return float(max(target_lufs - high, 0.0) - max(low - target_lufs, 0.0))


def look_again_s(rest_s: float) -> float:
    """Seconds after which to look again with *rest_s* still to come: the less can still be corrected, the
    sooner."""
    return min(max(rest_s * _LOOK_SHARE, _SHORTEST_LOOK_S), _LONGEST_LOOK_S)
