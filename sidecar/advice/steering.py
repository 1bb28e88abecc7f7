"""Choosing the gain for the rest of a pass.

The past is fixed as it was metered, the rest scales with the gain. Under the gates the landing is not
monotone in that gain and jumps where a gate moves: a rest that is brought too low stops counting at all.
So every gain is tried, and among those that land about equally well the smallest move is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidecar.advice.forecast import Rest
from sidecar.advice.gating import Part, Powers, gated_loudness
from sidecar.advice.series import Floats

STEP_UP_DB = 3.0
STEP_DOWN_DB = 6.0
"""Largest moves of one look. Small corrections first, then wait (Tech 3343 §3.2), and raising slower than
lowering: starting low and rising is easier and sounds better. What was played too loud stays in the
measurement, so lowering may not take many looks. The figures are ours, from tests/benchmarks/landing.py."""

_SMALLEST_DB, _SMALLEST_DOUBT = 0.3, 0.3
"""Moves under this, or under this share of what is in doubt about the rest, are not worth a hand on the
fader: correct a little, then wait (Tech 3343 §3.2)."""

_BAND, _BAND_MARGIN = (0.08, 0.92), 0.05
"""The band that held nine landings in ten of tests/benchmarks/landing.py. The margin is for a rest that
falls under the gate: its chances all pile up on one landing, beside which the true one then lies."""

_MOVES_DB: Floats = np.arange(-600, 601) / 10.0
_REACH_DB: Floats = np.arange(-1000, 1001) / 10.0
"""Gain and shift together, dB from the present fader."""

_START_LOW = 0.6
"""While all is still to come, this much of the chance is kept under the target (Tech 3343 §3.2: set a
little below, start low); half of it at the end."""

_WORTH_S, _WORTH_DOUBT_S = 4.0, 8.0
"""A move must bring the landing nearer by more than 1 dB over this many seconds of the pass would, and
over so many more for each dB that is in doubt about the rest."""

_HALF_STEP_DB = 0.06
"""Just over what rounding to tenths costs: without it a far gain that happens to fit better would win."""


@dataclass(frozen=True, slots=True)
class Prospect:
    """Where each move may land the pass, LUFS."""

    landings: Floats
    """Shape (moves, chances): one row for each of _MOVES_DB, one column for each chance of the rest."""
    doubt_db: float
    """How well the rest is known, see :class:`Rest`."""

    def likely(self, gain_db: float) -> float:
        """The landing that is as likely missed above as below."""
        return float(np.median(self.landings[_row(gain_db)]))

    def band(self, gain_db: float) -> tuple[float, float]:
        """The landings between which nine in ten should lie."""
        low, high = np.quantile(self.landings[_row(gain_db)], _BAND)
        margin = _BAND_MARGIN * (high - low)
        return float(low - margin), float(high + margin)

    def nearest(self, target_lufs: float, share_to_come: float, duration_s: float) -> float:
        """The smallest move that lands the pass about as near to the target as any move would."""
        aim = 0.5 + (_START_LOW - 0.5) * share_to_come
        error = np.abs(np.quantile(self.landings, aim, axis=1) - target_lufs)
        worth_s = _WORTH_S + _WORTH_DOUBT_S * self.doubt_db
        worth = max(worth_s / duration_s, _HALF_STEP_DB * share_to_come)
        near = np.flatnonzero(error <= error.min() + worth)
        move_db = float(_MOVES_DB[near[np.argmin(np.abs(_MOVES_DB[near]))]])
        is_small = abs(move_db) < max(_SMALLEST_DB, _SMALLEST_DOUBT * self.doubt_db)
        return 0.0 if is_small else move_db

    def reachable(self, target_lufs: float) -> float:
        """The likely landing nearest to the target that any move reaches."""
        likely = np.median(self.landings, axis=1)
        return float(likely[np.argmin(np.abs(likely - target_lufs))])


def prospect(metered: Powers, rest: Rest, fader_db: float) -> Prospect:
    """Where each move from a fader at *fader_db* may land a pass that was metered so far."""
    tried = gated_loudness([Part(metered), Part(rest.powers, fader_db + _REACH_DB, rest.weight)])
    landings = np.interp(_MOVES_DB[:, np.newaxis] + rest.shifts_db, _REACH_DB, tried)
    return Prospect(landings, rest.doubt_db)


def _row(gain_db: float) -> int:
    return round((gain_db - float(_MOVES_DB[0])) * 10.0)
