"""Detects unreported fader moves from the levels alone.

A programme changes its level by itself all the time, so a step is only taken for a fader move where
everything in the material moves by the same amount, at once, and goes on as before: soft and loud
moments alike, all channels alike, no drift before or after, the same pattern on both sides. How much
each of these says was fitted on 48 invented programmes of 10 minutes and measured on 24 others: songs in
sixteenths, talk in syllables, slow scores, with a move of 1 to 6 dB about once a minute. Right means
within 1.5 s and 1.2 dB (tests/benchmarks/bench_move_detector.py):

    =============  ==========  =============  ===========  ====================================
    metered apart  confidence  guesses right  moves found  invented an hour without a move
    =============  ==========  =============  ===========  ====================================
    one channel    0.5             69 %           27 %        6.0
                   0.8             88 %            6 %        0.5
    stereo         0.5             82 %           33 %        3.0
                   0.8             96 %           21 %        0.0
    stems          0.5             89 %           74 %        2.8
                   0.8             95 %           60 %        1.3
    =============  ==========  =============  ===========  ====================================

So with one channel it is a hint at best and most moves are missed; with stems metered one by one a guess
is usually right. Where moves are rarer, more of the guesses are wrong. Real programmes may do worse than
invented ones. Nothing here is ever applied: a person confirms a guess, or it is forgotten.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sidecar.errors import SignalError
from sidecar.loudness.gating import loudness_of
from sidecar.loudness.series import Floats
from sidecar.model.readings import BLOCK_S
from sidecar.model.units import figure

WINDOW = 40
"""Blocks looked at before and after a step: 4 s each."""

GAP = 5
"""Blocks left out on either side of it: a hand takes up to a second for a move."""

REACH = WINDOW + GAP

_NEIGHBOURS = 20
"""Of steps less than 2 s apart only the largest is looked at."""

_LEAST_DB = 0.8
_FLOOR_LUFS, _ACTIVE_LUFS = -70.0, -60.0

_WEIGHTS = {
    1: (-2.92, -0.39, -0.89, 0.39, -0.69, -0.41, -1.12),
    2: (-5.5, -0.89, -1.63, -0.6, -0.42, -0.1, -1.15),
    3: (0.1, -1.76, -1.69, -0.51, -0.62, -5.49, -1.15),
}
"""Logistic weights by number of channels (3: three and more): constant, then one for each evidence."""


@dataclass(frozen=True, slots=True)
class Guess:
    """A fader move that may have been made."""

    time_s: float
    change_db: float
    confidence: float
    """0 to 1: how often such evidence was right where moves were as frequent as in the table above."""

    @property
    def sentence(self) -> str:
        """The question to put to a person."""
        way = "up" if self.change_db > 0.0 else "down"
        minutes, seconds = divmod(round(self.time_s), 60)
        return (
            f"Was the fader moved {way} by about {figure(abs(self.change_db))} dB at {minutes}:{seconds:02d}?"
        )


class MoveDetector:
    """Detects probable moves in a stream of levels, about 6 s after they were made."""

    def __init__(self, channels: int, least_confidence: float = 0.8) -> None:
        """channels: what is metered apart, channels of the mix or, far better, stems after the fader.
        least_confidence: of a guess that is returned.
        """
        self._least_confidence = least_confidence
        self._levels = np.empty((0, channels))
        self._offset = 0
        self._looked = 0

    def push(self, energies: ArrayLike) -> list[Guess]:
        """Adds 100 ms K-weighted mean squares as metered, shape (channels,) or (n, channels).

        Returns the guesses that are new, by time. Raises SignalError for values that no meter gives.
        """
        given = np.atleast_2d(np.asarray(energies, dtype=np.float64))
        if given.ndim != 2 or given.shape[1] != self._levels.shape[1]:
            raise SignalError(
                f"Energies of {self._levels.shape[1]} channels are expected, not of shape {given.shape}."
            )
        if not np.all(np.isfinite(given) & (given >= 0.0)):
            raise SignalError("A block energy is negative or no number. Give mean squares as metered.")
        self._levels = np.concatenate([self._levels, np.maximum(loudness_of(given), _FLOOR_LUFS)])
        return self._look()

    def _look(self) -> list[Guess]:
        """Looks at every block that has become the middle of enough past and future."""
        ready = len(self._levels) - REACH - _NEIGHBOURS
        first = max(self._looked - self._offset, REACH + _NEIGHBOURS)
        if ready <= first:
            return []
        start = first - _NEIGHBOURS
        steps = steps_db(self._levels, start, ready + _NEIGHBOURS)
        fresh, sizes = [], np.abs(steps)
        for place in np.flatnonzero(sizes[_NEIGHBOURS:-_NEIGHBOURS] >= _LEAST_DB).tolist():
            if sizes[place : place + 2 * _NEIGHBOURS + 1].argmax() != _NEIGHBOURS:
                continue
            guess = self._guess(first + place, float(steps[_NEIGHBOURS + place]))
            if guess.confidence >= self._least_confidence:
                fresh.append(guess)
        self._looked = self._offset + ready
        surplus = max(ready - REACH - _NEIGHBOURS, 0)
        self._levels, self._offset = self._levels[surplus:], self._offset + surplus
        return fresh

    def _guess(self, block: int, step_db: float) -> Guess:
        weights = np.array(_WEIGHTS[min(self._levels.shape[1], 3)])
        odds = float(weights[0] + weights[1:] @ evidence(self._levels, block, step_db))
        confidence = 1.0 / (1.0 + math.exp(-odds))
        time_s = (self._offset + _when(self._levels, block, step_db)) * BLOCK_S
        return Guess(round(time_s, 1), round(step_db, 1), confidence)


def steps_db(levels: Floats, first: int, past: int) -> Floats:
    """How far the level after each block lies over the level before it, shape (past - first,).

    levels: LUFS, shape (n, channels). Of the channels the weighted median counts, steady ones most;
    where none is active the step is 0.
    """
    blocks = np.arange(first, past)
    before, after = _moments(levels, blocks - REACH), _moments(levels, blocks + GAP)
    weight = _weights(before, after)
    change = after[0] - before[0]
    order = np.argsort(change, axis=1)
    rising = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    middle = (rising >= rising[:, -1:] / 2.0).argmax(axis=1)
    median = np.take_along_axis(change, np.take_along_axis(order, middle[:, None], axis=1), axis=1)[:, 0]
    return np.where(rising[:, -1] > 0.0, median, 0.0)


def evidence(levels: Floats, block: int, step_db: float) -> Floats:
    """What speaks for a fader move at *block*, shape (6,): the more negative the last five, the better.

    Size of the step; then, each against it: how unlike soft, middle and loud moments moved; how unlike
    the channels moved; the drift before or after; how little of it happened at once; how badly the
    pattern before fits the pattern after.
    """
    moments = _moments(levels, np.array([block - REACH])), _moments(levels, np.array([block + GAP]))
    weight = _weights(*moments)[0]
    share = weight / weight.sum()
    before, after = levels[block - REACH : block - GAP], levels[block + GAP : block + REACH]
    half, second = WINDOW // 2, 10
    moved = np.quantile(after, (0.15, 0.5, 0.85), axis=0) - np.quantile(before, (0.15, 0.5, 0.85), axis=0)
    unlike = math.sqrt(float(((moved - step_db) ** 2).mean(axis=0) @ share))
    apart = math.sqrt(float((moments[1][0] - moments[0][0] - step_db)[0] ** 2 @ share))
    drifts = [
        float((part[half:].mean(axis=0) - part[:half].mean(axis=0)) @ share) for part in (before, after)
    ]
    at_once = float((after[:second].mean(axis=0) - before[-second:].mean(axis=0)) @ share)
    size = abs(step_db)
    return np.array(
        [
            math.log(size),
            math.log((unlike + 0.2) / size),
            math.log((apart + 0.1) / size),
            math.log((max(map(abs, drifts)) + 0.2) / size),
            abs(at_once - step_db) / size,
            math.log((_mismatch(levels[block - REACH : block + REACH], step_db, share) + 0.2) / size),
        ]
    )


def _when(levels: Floats, block: int, step_db: float) -> int:
    """The block near *block* that parts what lies nearer to the level before from what lies nearer to
    the level after, in least squares."""
    before, after = _moments(levels, np.array([block - REACH])), _moments(levels, np.array([block + GAP]))
    weight = _weights(before, after)[0]
    near = levels[block - _NEIGHBOURS : block + _NEIGHBOURS]
    above_middle = (near - (before[0] + after[0]) / 2.0) @ weight * math.copysign(1.0, step_db)
    return block - _NEIGHBOURS + int(np.argmin(np.cumsum(above_middle))) + 1


def _mismatch(levels: Floats, step_db: float, share: Floats) -> float:
    """What is left, dB, of the best fit of the pattern before on the pattern after, at any repeat of it."""
    fits = []
    for lag in range(WINDOW // 2 + 2 * GAP, WINDOW + 2 * GAP + 1):
        first, past = max(0, WINDOW + 2 * GAP - lag), min(WINDOW, 2 * REACH - lag)
        left = levels[first + lag : past + lag] - levels[first:past] - step_db
        fits.append(math.sqrt(float(left.var(axis=0) @ share)))
    return min(fits)


def _moments(levels: Floats, starts: np.ndarray) -> tuple[Floats, Floats]:
    """Mean and variance of the windows that begin at *starts*, shapes (starts, channels)."""
    origin = int(starts.min())
    part = levels[origin : int(starts.max()) + WINDOW]
    zero = np.zeros((1, levels.shape[1]))
    sums = np.concatenate([zero, np.cumsum(part, axis=0)])
    squares = np.concatenate([zero, np.cumsum(part * part, axis=0)])
    at = starts - origin
    mean = (sums[at + WINDOW] - sums[at]) / WINDOW
    return mean, np.maximum((squares[at + WINDOW] - squares[at]) / WINDOW - mean * mean, 0.0)


def _weights(before: tuple[Floats, Floats], after: tuple[Floats, Floats]) -> Floats:
    """Steady channels say more; those that are silent on either side say nothing."""
    active = (before[0] > _ACTIVE_LUFS) & (after[0] > _ACTIVE_LUFS)
    return np.where(active, 1.0 / (before[1] + after[1] + 0.5), 0.0)
