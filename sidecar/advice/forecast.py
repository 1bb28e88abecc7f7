"""What is still to come in a pass, judged by what was heard and by what a rough mix is like.

Programme is taken to be made of stretches whose levels scatter round a middle. How widely they scatter
is learnt from the stretches heard; until enough were heard, a wide range of scatters stays possible. One
thing is known beforehand: a rough mix stands within about 6 LU of its goal. So a quiet opening is
expected to be followed by something louder, and a loud one by something softer.

The rest is then thought of as sounding like what was heard (the more even, the shorter it is), louder or
softer as a whole by a shift that is known only as a distribution. Replaying the past unchanged would be
the case of a shift of exactly 0.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from sidecar.advice.gating import RELATIVE_GATE, Part, Powers, gated_loudness, loudness_of
from sidecar.advice.series import Floats
from sidecar.vocabulary import BLOCK_S, mean_square

CHANCES: Floats = (np.arange(41) + 0.5) / 41
"""The quantiles that a distribution is carried by: 41 equally likely cases."""

_ROUGH_MIX_LU = 7.0
"""Error of a rough mix at which its likelihood has fallen to 1/e; flat inside, steep outside. It stands
for "within about 6 LU" (common practice, no source)."""

_STRETCH_BLOCKS = 100
_STRETCH_S = 10.0

_TURN_S = 32.0
"""Programme keeps its level about this long: neighbouring stretches are one piece of news, not two."""

_PAUSE_LU = 25.0
"""A stretch this far under the loudest is a pause and tells nothing of the programme's levels."""

_SPREADS_LU: Floats = np.array([1.0, 1.5, 2.2, 3.2, 4.5, 6.0, 8.0])
_USUAL_SPREAD_LU, _USUAL_RATIO = 2.5, 2.0
"""Scatter of stretches, expected before any is heard, and the factor that is one deviation from it."""

_TAIL = 4.0
"""Degrees of freedom of the shift: level changes have heavier tails than a Gaussian."""

_REFERENCE_LUFS = -20.0
"""Far over the absolute gate; where exactly does not matter."""

_SHIFTS_DB: Floats = np.arange(-300, 301) / 10.0


@dataclass(frozen=True, slots=True)
class Rest:
    """What is still to come, at a fader of 0 dB."""

    powers: Powers
    weight: float
    """How often each block counts: blocks still to come by blocks known of them."""
    shifts_db: Floats
    """How much louder than *powers* it may be, ascending, equally likely, one for each of CHANCES."""

    @property
    def doubt_db(self) -> float:
        """The shift is as likely within this much of its middle as outside."""
        low, high = np.quantile(self.shifts_db, [0.25, 0.75])
        return float(high - low) / 2.0


def unheard_rest(
    known: Powers, in_time: Floats, rest_blocks: int, fader_db: float, target_lufs: float
) -> Rest:
    """The rest of a pass of which no earlier pass is known.

    known, in_time: gating blocks heard so far at a fader of 0 dB, shape (n,), n > 0.
    rest_blocks: 100 ms steps still to come. fader_db: where the fader stood when the pass began.
    """
    heard_lufs = _relative_loudness(known, in_time)
    levels = _stretch_levels(in_time)
    is_short = not np.any(np.isfinite(levels))  # no whole stretch of programme yet
    if is_short:
        levels = np.array([heard_lufs])
    to_come = max(rest_blocks * BLOCK_S / _TURN_S, 0.3)
    chance = _log_shift(levels, heard_lufs, to_come)
    whole = gated_loudness(
        [Part(known, fader_db), Part(known, fader_db + _SHIFTS_DB, rest_blocks / len(in_time))]
    )
    error_lu = np.minimum(np.abs(whole - target_lufs), 60.0)  # silence is no worse than that
    chance = chance - (error_lu / _ROUGH_MIX_LU) ** 4
    share = np.cumsum(np.exp(chance - chance.max()))
    shifts_db = _SHIFTS_DB[np.searchsorted(share / share[-1], CHANCES)]
    like_heard = in_time if is_short else _evened(in_time, levels, to_come)
    powers = Powers(like_heard)
    shifts_db = shifts_db + heard_lufs - _relative_loudness(powers, like_heard)
    return Rest(powers, rest_blocks / len(like_heard), shifts_db)


def _evened(in_time: Floats, levels: Floats, to_come: float) -> Floats:
    """The blocks heard, their stretches brought as near to each other as *to_come* turns would lie. A short
    rest keeps to one level: all of it passes the gate or none."""
    kept = math.sqrt(1.0 - 1.0 / max(to_come, 1.0))
    programme = levels > levels.max() - _PAUSE_LU
    gains_db = np.where(programme, (1.0 - kept) * (levels[programme].mean() - levels), 0.0)
    stretches = in_time[: len(levels) * _STRETCH_BLOCKS].reshape(-1, _STRETCH_BLOCKS)
    return np.asarray((stretches * 10.0 ** (gains_db[:, np.newaxis] / 10.0)).ravel())


def _log_shift(levels: Floats, heard_lufs: float, to_come: float) -> Floats:
    """Log-likelihood of each shift from the levels of the stretches alone, shape of _SHIFTS_DB."""
    levels = levels[levels > levels.max() - _PAUSE_LU]
    news = len(levels) * _STRETCH_S / _TURN_S
    scatter = float(np.sum((levels - levels.mean()) ** 2)) * _STRETCH_S / _TURN_S
    spread = _SPREADS_LU
    weight = (1.0 - news) * np.log(spread) - scatter / (2.0 * spread**2)
    weight -= 0.5 * (np.log(spread / _USUAL_SPREAD_LU) / math.log(_USUAL_RATIO)) ** 2
    middle = levels.mean() + _power_mean_lu() - heard_lufs
    width = spread * math.sqrt(1.0 / max(news, 0.3) + 1.0 / to_come)
    offset = (_SHIFTS_DB[:, np.newaxis] - middle) / width
    density = np.exp(weight - weight.max()) / width * (1.0 + offset**2 / _TAIL) ** (-(_TAIL + 1.0) / 2.0)
    return np.asarray(np.log(density.sum(axis=1)))


def _relative_loudness(powers: Powers, blocks: Floats) -> float:
    """LUFS of the material under its relative gate alone: where the fader stood says nothing of that."""
    up_db = _REFERENCE_LUFS - float(loudness_of(blocks.mean()))
    return float(gated_loudness([Part(powers, up_db)])) - up_db


def _stretch_levels(in_time: Floats) -> Floats:
    """LUFS of each whole stretch, over its own relative gate, so that breaths do not count."""
    stretches = in_time[: len(in_time) // _STRETCH_BLOCKS * _STRETCH_BLOCKS].reshape(-1, _STRETCH_BLOCKS)
    kept = stretches > RELATIVE_GATE * stretches.mean(axis=1, keepdims=True)
    totals = np.sum(stretches * kept, axis=1)
    return loudness_of(totals / np.maximum(kept.sum(axis=1), 1))


@functools.cache
def _power_mean_lu() -> Floats:
    """By how much the gated loudness of stretches that scatter with each of _SPREADS_LU lies over the
    middle of their levels, shape of _SPREADS_LU."""
    from scipy.special import ndtri

    cases = ndtri((np.arange(400) + 0.5) / 400)
    base = mean_square(_REFERENCE_LUFS)
    return np.array(
        [
            float(gated_loudness([Part(Powers(base * 10.0 ** (spread * cases / 10.0)))])) - _REFERENCE_LUFS
            for spread in _SPREADS_LU
        ]
    )
