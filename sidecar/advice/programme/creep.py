"""Whether the level of a pass creeps as it plays, and how far it will have crept by its end.

Songs build up, operators creep, a dramatic arc climbs. A straight line through the levels so far shows it,
believed as far as the scatter round it allows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidecar.advice.quantiles import normal
from sidecar.loudness.series import Floats

_PRIOR_DB = 3.0
"""Before anything is measured: so much standard deviation of the creep from end to end of a pass."""

_PRIOR_SPREAD_LU, _PRIOR_FREEDOM = 1.5, 1.0
"""Scatter round the line before anything is measured, and how much that counts. The three figures are ours,
chosen on both sets of programmes in tests/benchmarks (starts 1000 to 5100): no creep in one, 3.5 to 8 dB
in the other. With more creep, songs of the first would be moved more than half as far as by the habit."""

_CHANCES = 120
_SHUFFLED: Floats = np.random.default_rng(1771).permutation((np.arange(_CHANCES) + 0.5) / _CHANCES)
"""Chances of the creep in each future, in an order that has nothing to do with what else comes in it."""


@dataclass(frozen=True, slots=True)
class Creep:
    """A straight line through the levels of the measured stretches, and what is not known about it."""

    per_block_db: float
    """The likeliest slope."""
    deviation_db: float
    """Standard deviation of that slope."""
    middle_age: float
    """Blocks ago at which the level is known best."""

    @classmethod
    def fitted(cls, levels: Floats, age: Floats, news: float, whole_blocks: int) -> Creep:
        """The slope by Bayes' rule, the prior normal about none.

        levels, age: of the measured stretches, dB and blocks ago, shape (n,). news: what each of them counts.
        whole_blocks: length of the pass.
        """
        middle_age = float(age.mean())
        time, off = middle_age - age, levels - levels.mean()
        along = float(np.sum(time * time))
        straight = float(np.sum(time * off)) / along if along else 0.0
        scatter = news * float(np.sum((off - straight * time) ** 2))
        variance = (_PRIOR_FREEDOM * _PRIOR_SPREAD_LU**2 + scatter) / (_PRIOR_FREEDOM + news * len(levels))
        measured, before = news * along / variance, (whole_blocks / _PRIOR_DB) ** 2
        return cls(straight * measured / (measured + before), (measured + before) ** -0.5, middle_age)

    def by(self, rest_blocks: int) -> Floats:
        """How far over the present line the middle of the rest may lie, dB, shape (futures,)."""
        ahead = rest_blocks / 2.0
        return np.asarray(
            self.per_block_db * ahead + self.deviation_db * (self.middle_age + ahead) * normal(_SHUFFLED)
        )
