"""The rest of a pass, simulated from the pass so far and from the typical levels of a rough mix.

Programme is made of sections that keep their level for a while. So the section that is playing is taken
to go on for some time, and then sections follow that are drawn with repeats from those measured (a Bayesian
bootstrap), now and then one of a new level. How far such a level may lie is estimated from the levels
measured so far; before that, only one thing is known: a rough mix lies within about 6 LU of its goal. So
a quiet opening is expected to be followed by something louder, and a loud one by something softer. What
follows may lie on a level that creeps (:mod:`sidecar.advice.programme.creep`).

Many such futures are drawn. Each gives the landing of the pass under each move of the fader; together they
give its uncertainty. The same input always gives the same futures.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sidecar.advice.programme.creep import Creep
from sidecar.advice.quantiles import student
from sidecar.loudness.gating import (
    GATING_STEPS,
    RELATIVE_GATE,
    LevelClasses,
    Part,
    Powers,
    gated_loudness,
    loudness_of,
)
from sidecar.loudness.series import Floats
from sidecar.model.readings import SILENCE

MOVES_DB: Floats = np.arange(-600, 601) / 10.0
"""Every move that is tried: a gated loudness jumps where a gate moves."""

_FUTURES = 120
_SEED = 1770

_STRETCH_BLOCKS, _MOST_STRETCHES = 100, 100
"""The past is drawn from in stretches of ten seconds, longer ones of a long programme."""

_TURN_BLOCKS = 350.0
"""A section, and what counts as one piece of news: neighbouring stretches sound alike. The figures from
here on are ours, chosen on the random starts 1000 to 5100 of tests/benchmarks/programmes.py."""

_GOES_ON_BLOCKS = 250.0
"""How much longer the section that is playing lasts, on average."""

_PLAYING_BLOCKS = 50
_PLAYING_DB: Floats = np.array([-2.4, -1.2, 0.0, 1.2, 2.4])
"""The section that is playing is what the last five seconds sound like, give or take so much."""

_NEW_SECTIONS, _NEW_NEWS = 9, 1.0
"""New levels that may come, equally likely; together they count as one piece of news."""

_PAUSE_LU = 25.0
"""A stretch this far under the loudest is a pause and does not count as a level of the programme."""

_PRIOR_NEWS, _PRIOR_SPREAD_LU = 1.0, 3.5
"""Before anything is measured: one piece of news at the target, and so much scatter round it."""

_ROUGH_MIX_LU = 7.0
"""Error of a rough mix at which its likelihood has fallen to 1/e; flat inside, steep outside. It is
"within about 6 LU" (common practice, no source)."""

_NO_ROUGH_MIX = 0.02
"""Chance, of the best likelihood, that it is no rough mix of this goal at all, but say a finished master of a
louder one: what has been measured for some time then counts for more than where a mix should lie."""

_LEAST = 1e-30
"""Mean square of silence, where its logarithm is asked for."""

NOTHING_LUFS, _LOWEST_LUFS = -200.0, -70.0
"""Nothing passes the gate: a number while it is reckoned with, since minus infinity times 0 is none. The
second is the absolute gate, which no gated loudness lies under (BS.1770-5 Annex 1)."""

GRID_DB: Floats = np.concatenate(
    [np.arange(-60.0, -20.0, 4.0), np.arange(-20.0, 21.0), np.arange(24.0, 61.0, 4.0)]
)
"""Moves between which a landing hardly bends. Far moves lie wider apart: no look asks for so much at once."""

_RANGE_DOUBT = 2.0
"""So much less certain is the creep for the likely range than for the choice of a move. No pass creeps along
a straight line, and the prior is as narrow as it is to keep moves few, not because more is unlikely."""

_RANGE = ((0.0, 0.25, 1.0), (0.05, 0.12, 0.01), (0.985, 0.93, 0.82))
"""With so large a share of a pass still to come, the likely range lies between these quantiles. At the start
they are low: futures in which a section louder than any before outweighs all others are drawn more often than
they come. In the last quarter they move apart, to what their names say and beyond: one or two sections are
left, whose levels do not average out, and little is left of the doubt about the creep that made up for it.

The figures are ours. The middle was chosen on 200 programmes a kind from the starts 1000 to 5000 of both sets
in tests/benchmarks, both ends on the tuning half of the recordings there too. Were the creep doubted no more
than for the choice, quantiles that hold 86 % in shows that creep would hold 96 % in songs."""

_RANGE_MARGIN_LU = 0.002
"""For a rest that falls under the gate: its chances all pile up on one landing; the true lies beside it."""


class Rest(Protocol):
    """What is still to come."""

    @property
    def price_s(self) -> float:
        """A move must bring the landing nearer by more than as many decibels, kept up for this long, would:
        the less is known, the more a later move may undo."""
        ...

    @property
    def tried_db(self) -> Floats:
        """The moves that are tried, ascending, shape (moves,); between them a landing lies on a line."""
        ...

    def landings(self, metered: Powers, fader_db: float) -> Floats:
        """Where each move from a fader at *fader_db* may land a pass that was metered so far, LUFS.

        Shape (moves, chances): one row for each of :attr:`tried_db`, ascending and equally likely.
        """
        ...

    def wholes(self, known: Powers, fader_db: float) -> Floats:
        """Where the whole pass may land with the fader at *fader_db* from its first block on, LUFS.

        known: gating blocks so far at a fader of 0 dB. Shape (chances,): ascending and equally likely.
        """
        ...


@dataclass(frozen=True, slots=True)
class UnheardRest:
    """The rest of a pass of which no earlier one is known."""

    playing: LevelClasses
    following: LevelClasses
    """What goes on and what follows it in each future: equally likely, at a fader of 0 dB, of one length."""
    crept_db: Floats
    """How far what follows lies over the level of today, shape (futures,)."""

    @property
    def price_s(self) -> float:
        return 26.0  # ours: songs of both sets of tests/benchmarks then ask for few moves

    @property
    def tried_db(self) -> Floats:
        return GRID_DB

    def landings(self, metered: Powers, fader_db: float) -> Floats:
        return np.sort(self.whole(Part(metered), fader_db + GRID_DB).T, axis=1)

    def wholes(self, known: Powers, fader_db: float) -> Floats:
        return np.sort(self.whole(Part(known, fader_db), np.array([fader_db]))[:, 0])

    def likely_range(self, past: Part, fader_db: float, share_to_come: float) -> tuple[float, float]:
        """The landings between which nine in ten should lie with the fader left at *fader_db*, LUFS.

        past: as metered, or as it would sound. share_to_come: of the pass, 0 to 1.
        """
        likely_db = self.crept_db.mean()
        in_doubt = replace(self, crept_db=likely_db + _RANGE_DOUBT * (self.crept_db - likely_db))
        wholes = in_doubt.whole(past, np.array([fader_db]))
        to_come, lows, highs = _RANGE
        shares = [np.interp(share_to_come, to_come, quantiles) for quantiles in (lows, highs)]
        low, high = over_the_gate(np.quantile(np.maximum(wholes, NOTHING_LUFS), shares))
        return float(low) - _RANGE_MARGIN_LU, float(high) + _RANGE_MARGIN_LU

    def whole(self, past: Part, gains_db: Floats) -> Floats:
        """LUFS of each future after that past, shape (futures, gains)."""
        crept = Part(self.following, gains_db + self.crept_db[:, np.newaxis])
        return gated_loudness([past, Part(self.playing, gains_db[np.newaxis]), crept])


def unheard_rest(
    known: Powers, in_time: Floats, rest_blocks: int, fader_db: float, target_lufs: float
) -> UnheardRest:
    """The rest of a pass of which no earlier pass is known.

    known, in_time: gating blocks measured so far at a fader of 0 dB, shape (n,), n > 0.
    rest_blocks: 100 ms steps still to come. fader_db: the fader's position when the pass began.
    """
    stretches = _stretches(in_time)
    length, stretches = stretches.shape[1], _thinned(stretches)
    levels = _levels(stretches)
    is_programme = levels > levels.max() - _PAUSE_LU
    age = (np.arange(len(stretches))[::-1] + 0.5) * length
    news = length / _TURN_BLOCKS
    creep = Creep.fitted(levels[is_programme], age[is_programme], news, len(in_time) + rest_blocks)
    up_db = creep.per_block_db * age
    levels = levels + up_db
    stretches = stretches * 10.0 ** (up_db[:, np.newaxis] / 10.0)
    typical = np.flatnonzero(is_programme)[_middle(levels[is_programme])]
    new_levels = _new_levels(levels[is_programme], news, target_lufs - fader_db)
    new = _louder(stretches[typical], new_levels - levels[typical])
    goes_on, drawn = _draws(len(stretches), news, rest_blocks)
    playing = LevelClasses.from_powers(_louder(in_time[-_PLAYING_BLOCKS:], _PLAYING_DB)).mixed(goes_on)
    following = LevelClasses.from_powers(np.concatenate([stretches, new])).mixed(drawn)
    level = UnheardRest(playing, following, np.zeros(_FUTURES))
    left_alone = level.whole(Part(known, fader_db), np.array([fader_db]))[:, 0]
    likely = _as_rough_mix(left_alone, target_lufs)
    return UnheardRest(playing.picked(likely), following.picked(likely), creep.by(rest_blocks))


def over_the_gate(landings: Floats) -> Floats:
    """*landings*, minus infinity where they lie under the absolute gate."""
    return np.where(landings < _LOWEST_LUFS, SILENCE, landings)


def _stretches(in_time: Floats) -> Floats:
    """Returns the blocks in rows of one length, the latest whole; shape (stretches, blocks)."""
    length = min(max(_STRETCH_BLOCKS, math.ceil(len(in_time) / _MOST_STRETCHES)), len(in_time))
    return in_time[len(in_time) % length :].reshape(-1, length)


def _thinned(stretches: Floats) -> Floats:
    """Returns fewer gating blocks of long stretches: at the least those that side by side hold all of it."""
    return stretches[:, :: min(max(stretches.shape[1] // _STRETCH_BLOCKS, 1), GATING_STEPS)]


def _levels(stretches: Floats) -> Floats:
    """Returns LUFS of each stretch with its relative gate alone, which does not depend on the fader."""
    kept = stretches > RELATIVE_GATE * stretches.mean(axis=1, keepdims=True)
    count = np.maximum(kept.sum(axis=1), 1)
    return loudness_of(np.maximum(np.sum(stretches * kept, axis=1) / count, _LEAST))


def _middle(levels: Floats) -> int:
    return int(np.argmin(np.abs(levels - np.median(levels))))


def _louder(blocks: Floats, gains_db: Floats) -> Floats:
    return np.asarray(blocks * 10.0 ** (gains_db[:, np.newaxis] / 10.0))


def _new_levels(levels: Floats, news: float, expected_lufs: float) -> Floats:
    """Returns levels that a new section may have, equally likely: Student's t, the prediction from
    levels with a normal scatter of unknown middle and width (normal-inverse-gamma prior).

    levels: of the measured stretches. news: what each of them counts.
    """
    seen = len(levels) * news
    count = _PRIOR_NEWS + seen
    offset_lu = levels.mean() - expected_lufs
    middle = expected_lufs + offset_lu * seen / count
    scatter = news * float(np.sum((levels - levels.mean()) ** 2)) + offset_lu**2 * _PRIOR_NEWS * seen / count
    freedom = 2.0 + seen
    variance = (2.0 * _PRIOR_SPREAD_LU**2 + scatter) / freedom * (1.0 + 1.0 / count)
    chances = (np.arange(_NEW_SECTIONS) + 0.5) / _NEW_SECTIONS
    return np.asarray(middle + math.sqrt(variance) * student(freedom, chances))


def _draws(stretches: int, news: float, rest_blocks: int) -> tuple[Floats, Floats]:
    """Returns how many blocks of each future are like the present section, at its various levels, and like
    each measured or new section; shapes (futures, sections)."""
    chance = np.random.default_rng(_SEED)
    goes_on = np.minimum(chance.exponential(_GOES_ON_BLOCKS, _FUTURES), rest_blocks)
    left = rest_blocks - goes_on
    likeness = np.repeat([news, _NEW_NEWS / _NEW_SECTIONS], [stretches, _NEW_SECTIONS])
    taste = chance.gamma(likeness, size=(_FUTURES, len(likeness))) + 1e-12
    turns = np.maximum(np.ceil(left / _TURN_BLOCKS), 1.0).astype(np.int64)
    drawn = chance.multinomial(turns, taste / taste.sum(axis=1, keepdims=True))
    playing = np.eye(len(_PLAYING_DB))[chance.integers(0, len(_PLAYING_DB), _FUTURES)]
    return playing * goes_on[:, np.newaxis], drawn * (left / turns)[:, np.newaxis]


def _as_rough_mix(wholes: Floats, target_lufs: float) -> NDArray[np.intp]:
    """Each future as often as its whole is likely for a rough mix, as many as there were. (That says
    something of its level, nothing of whether that creeps.)

    wholes: LUFS with the fader left alone, shape (futures,).
    """
    likelihood = np.exp(-((np.abs(wholes - target_lufs) / _ROUGH_MIX_LU) ** 4))
    share = np.cumsum(likelihood + _NO_ROUGH_MIX)
    return np.searchsorted(share / share[-1], (np.arange(len(share)) + 0.5) / len(share))
