"""What is still to come in a pass, dealt from what was heard and from what a rough mix is like.

Programme is made of sections that keep their level for a while. So the section that is playing is taken
to go on for some time, and then sections follow that are drawn with repeats from those heard (a Bayesian
bootstrap), now and then one of a level not heard yet. How far such a level may lie is learnt from the
levels heard; before that, only one thing is known: a rough mix stands within about 6 LU of its goal. So
a quiet opening is expected to be followed by something louder, and a loud one by something softer.

Many such futures are dealt. Each tells where the pass lands under each move of the fader; together they
tell how sure that is. The same input always gives the same futures.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sidecar.advice.series import Floats
from sidecar.gating import LevelClasses, Part, Powers, gated_loudness, loudness_of

MOVES_DB: Floats = np.arange(-600, 601) / 10.0
"""Every move that is tried: a gated loudness jumps where a gate moves."""

_FUTURES = 120
_SEED = 1770

_STRETCH_BLOCKS, _MOST_STRETCHES = 100, 100
"""What was heard is dealt in stretches of ten seconds, longer ones of a long programme."""

_TURN_BLOCKS = 350.0
"""A section, and what counts as one piece of news: neighbouring stretches sound alike. The figures from
here on are ours, chosen on tests/benchmarks/programmes.py."""

_GOES_ON_BLOCKS = 250.0
"""How much longer the section that is playing lasts, on average."""

_PLAYING_BLOCKS = 50
_PLAYING_DB: Floats = np.array([-2.4, -1.2, 0.0, 1.2, 2.4])
"""The section that is playing is what the last five seconds sound like, give or take so much."""

_NEW_SECTIONS, _NEW_NEWS = 9, 1.0
"""Levels not heard yet that may come, equally likely; together they are one piece of news."""

_PAUSE_LU = 25.0
"""A stretch this far under the loudest is a pause and tells nothing of the programme's levels."""

_PRIOR_NEWS, _PRIOR_SPREAD_LU = 1.0, 3.5
"""Before anything is heard: one piece of news at the target, and so much scatter round it."""

_ROUGH_MIX_LU = 7.0
"""Error of a rough mix at which its likelihood has fallen to 1/e; flat inside, steep outside. It stands
for "within about 6 LU" (common practice, no source)."""

_SILENT_LU = 60.0
"""Silence is no further off the target than this."""

_REFERENCE_LUFS = -20.0
"""Far over the absolute gate; where exactly does not matter."""

_GRID_DB: Floats = np.arange(-60.0, 61.0)


class Rest(Protocol):
    """What is still to come."""

    @property
    def price_s(self) -> float:
        """A move must bring the landing nearer by more than as many decibels, kept up for this long, would:
        the less is known, the more a later move may undo."""
        ...

    def landings(self, metered: Powers, fader_db: float) -> Floats:
        """Where each move from a fader at *fader_db* may land a pass that was metered so far, LUFS.

        Shape (moves, chances): one row for each of MOVES_DB, ascending and equally likely.
        """
        ...


@dataclass(frozen=True, slots=True)
class UnheardRest:
    """The rest of a pass of which no earlier one is known."""

    futures: LevelClasses
    """Equally likely, at a fader of 0 dB."""

    @property
    def price_s(self) -> float:
        return 18.0

    def landings(self, metered: Powers, fader_db: float) -> Floats:
        gains_db = np.broadcast_to(fader_db + _GRID_DB, (len(self.futures), len(_GRID_DB)))
        tried = np.sort(gated_loudness([Part(metered), Part(self.futures, gains_db)]).T, axis=1)
        below = np.minimum((MOVES_DB - _GRID_DB[0]).astype(np.intp), len(_GRID_DB) - 2)
        part = (MOVES_DB - _GRID_DB[below])[:, np.newaxis]
        return np.asarray(tried[below] * (1.0 - part) + tried[below + 1] * part)


def unheard_rest(
    known: Powers, in_time: Floats, rest_blocks: int, fader_db: float, target_lufs: float
) -> UnheardRest:
    """The rest of a pass of which no earlier pass is known.

    known, in_time: gating blocks heard so far at a fader of 0 dB, shape (n,), n > 0.
    rest_blocks: 100 ms steps still to come. fader_db: where the fader stood when the pass began.
    """
    heard = _stretches(in_time)
    classes = LevelClasses.of(heard)
    levels = _levels(classes, in_time)
    is_programme = levels > levels.max() - _PAUSE_LU
    typical = np.flatnonzero(is_programme)[_middle(levels[is_programme])]
    news = heard.shape[1] / _TURN_BLOCKS
    new_levels = _new_levels(levels[is_programme], news, target_lufs - fader_db)
    sections = classes.joined(
        LevelClasses.of(_louder(heard[typical], new_levels - levels[typical])),
        LevelClasses.of(_louder(in_time[-_PLAYING_BLOCKS:], _PLAYING_DB)),
    )
    futures = sections.mixed(_deals(len(heard), news, rest_blocks))
    return UnheardRest(futures.picked(_as_rough_mix(futures, known, fader_db, target_lufs)))


def _stretches(in_time: Floats) -> Floats:
    """The blocks heard in rows of one length, the latest whole; shape (stretches, blocks)."""
    length = min(max(_STRETCH_BLOCKS, math.ceil(len(in_time) / _MOST_STRETCHES)), len(in_time))
    return in_time[len(in_time) % length :].reshape(-1, length)


def _levels(stretches: LevelClasses, in_time: Floats) -> Floats:
    """LUFS of each stretch under its relative gate alone: where the fader stood says nothing of that."""
    up_db = _REFERENCE_LUFS - float(loudness_of(in_time.mean()))
    lifted = np.full((len(stretches), 1), up_db)
    return np.asarray(gated_loudness([Part(stretches, lifted)])[:, 0] - up_db)


def _middle(levels: Floats) -> int:
    return int(np.argmin(np.abs(levels - np.median(levels))))


def _louder(blocks: Floats, gains_db: Floats) -> Floats:
    return np.asarray(blocks * 10.0 ** (gains_db[:, np.newaxis] / 10.0))


def _new_levels(levels: Floats, news: float, expected_lufs: float) -> Floats:
    """Levels that a section not heard yet may have, equally likely: Student's t, the prediction from
    levels with a normal scatter of unknown middle and width (normal-inverse-gamma prior).

    levels: of the stretches heard. news: what each of them counts.
    """
    from scipy.special import stdtrit

    heard = len(levels) * news
    count = _PRIOR_NEWS + heard
    offset_lu = levels.mean() - expected_lufs
    middle = expected_lufs + offset_lu * heard / count
    scatter = news * float(np.sum((levels - levels.mean()) ** 2)) + offset_lu**2 * _PRIOR_NEWS * heard / count
    freedom = 2.0 + heard
    variance = (2.0 * _PRIOR_SPREAD_LU**2 + scatter) / freedom * (1.0 + 1.0 / count)
    chances = (np.arange(_NEW_SECTIONS) + 0.5) / _NEW_SECTIONS
    return np.asarray(middle + math.sqrt(variance) * stdtrit(freedom, chances))


def _deals(stretches: int, news: float, rest_blocks: int) -> Floats:
    """How many blocks of each future sound like each section: first the stretches heard, then the new
    ones, then the one that is playing at its various levels; shape (futures, sections)."""
    chance = np.random.default_rng(_SEED)
    goes_on = np.minimum(chance.exponential(_GOES_ON_BLOCKS, _FUTURES), rest_blocks)
    left = rest_blocks - goes_on
    likeness = np.repeat([news, _NEW_NEWS / _NEW_SECTIONS], [stretches, _NEW_SECTIONS])
    taste = chance.gamma(likeness, size=(_FUTURES, len(likeness))) + 1e-12
    turns = np.maximum(np.ceil(left / _TURN_BLOCKS), 1.0).astype(np.int64)
    drawn = chance.multinomial(turns, taste / taste.sum(axis=1, keepdims=True))
    playing = np.eye(len(_PLAYING_DB))[chance.integers(0, len(_PLAYING_DB), _FUTURES)]
    return np.hstack([drawn * (left / turns)[:, np.newaxis], playing * goes_on[:, np.newaxis]])


def _as_rough_mix(
    futures: LevelClasses, known: Powers, fader_db: float, target_lufs: float
) -> NDArray[np.intp]:
    """Each future as often as its whole is likely for a rough mix, as many as there were."""
    left_alone = np.full((len(futures), 1), fader_db)
    whole = gated_loudness([Part(known, fader_db), Part(futures, left_alone)])[:, 0]
    error_lu = np.minimum(np.abs(whole - target_lufs), _SILENT_LU)
    chance = -((error_lu / _ROUGH_MIX_LU) ** 4)
    share = np.cumsum(np.exp(chance - chance.max()))
    return np.searchsorted(share / share[-1], (np.arange(len(share)) + 0.5) / len(share))
