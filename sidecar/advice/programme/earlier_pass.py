"""Where in an earlier pass the present pass is, and what that says of the rest of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from sidecar.advice.programme.forecast import GRID_DB, MOVES_DB
from sidecar.advice.programme.performance import ALIKE, CHANCES, Difference, difference, rest_levels
from sidecar.loudness.gating import (
    ABSOLUTE_GATE,
    GATING_STEPS,
    RELATIVE_GATE,
    Part,
    Powers,
    gated_loudness,
    gating_powers,
)
from sidecar.loudness.series import Floats
from sidecar.model.readings import BLOCK_S

_SHORTEST_BLOCKS = 200
"""Programme of 20 s that must have played since the last cut before it can be found in an earlier pass."""

_LONGEST_BLOCKS = 6000
"""Ten minutes place a pass; more would only cost time."""

_COARSE_BLOCKS = 5
_CANDIDATES = 4
_NEAR_BLOCKS = 20
_APART = _NEAR_BLOCKS // _COARSE_BLOCKS
_DEPTH_DB = 40.0
"""Levels further under the loudest count as this far under it: silences do not differ."""

_CLOSE_DB, _LOOSE_DB = 0.6, 4.0
"""A difference that always fits, and one that never does. Ours: the same sound of real music, played again at
another phase of the blocks, differs by 0.1 to 0.2 dB, and by 0.6 dB where it is all attacks."""

_SHIFTS: Floats = np.arange(-5, 6) / 10.0
"""Blocks by which playback may have begun beside the earlier pass's: a hand starts it anywhere within one."""

_LATEST_BLOCKS = 200
"""A pass has left the earlier one when its last 20 s differ too much."""

_LU_OF_ONE = 10.0 / math.log(10.0)
"""A small change of a power, as a share of it, in LU."""

_REACH_DB: Floats = np.arange(-1000, 1001) / 10.0
"""Gain and shift together, dB from the present fader."""

_NEAR_GATE = 10.0 ** (np.array([[-1.0], [0.0], [1.0]]) / 10.0)
"""Gating blocks are counted from 1 dB under to 1 dB over the gate to know how dense they lie there."""

_ABOUT = 1.6
"""About the gate: within 2 dB of where it would be for the rest alone."""

_NORMAL = NormalDist()
_LUCK: Floats = np.array(
    [_NORMAL.inv_cdf(float(chance)) for chance in CHANCES[np.arange(len(CHANCES)) * 13 % len(CHANCES)]]
)
"""How many blocks fall on the louder side of the gate, in deviations: as likely high as low for every level
of the rest."""


@dataclass(frozen=True, slots=True)
class KnownRest:
    """The rest of a pass of which an earlier one is known, at a fader of 0 dB."""

    powers: Powers
    weight: float
    """How often each block counts: blocks still to come by blocks known of them."""
    shifts_db: Floats
    """How much louder than *powers* it may be, equally likely."""
    gating_db: float
    """Deviation of a gating block near the gate from that."""
    more_db2: float
    """How much more its variance is in the pass that plays."""

    @property
    def price_s(self) -> float:
        """See :class:`sidecar.advice.programme.forecast.Rest`."""
        return 2.0

    @property
    def tried_db(self) -> Floats:
        """See :class:`sidecar.advice.programme.forecast.Rest`."""
        return MOVES_DB

    def landings(self, metered: Powers, fader_db: float) -> Floats:
        """See :class:`sidecar.advice.programme.forecast.Rest`."""
        tried = gated_loudness([Part(metered), Part(self.powers, fader_db + _REACH_DB, self.weight)])
        landings = np.interp(MOVES_DB[:, np.newaxis] + self.shifts_db, _REACH_DB, tried)
        middle_lu, spread_lu = self._at_the_gate(metered, fader_db)
        return np.sort(landings + middle_lu[:, np.newaxis] + spread_lu[:, np.newaxis] * _LUCK, axis=1)

    def wholes(self, known: Powers, fader_db: float) -> Floats:
        """See :class:`sidecar.advice.programme.forecast.Rest`."""
        past = Part(known, np.full(len(self.shifts_db), fader_db))
        return np.sort(gated_loudness([past, Part(self.powers, fader_db + self.shifts_db, self.weight)]))

    def _at_the_gate(self, metered: Powers, fader_db: float) -> tuple[Floats, Floats]:
        """What it does to the landing of each move that blocks near the gate may fall on its other side, LU:
        on average, and the deviation.

        A block that lies x dB over the gate and may differ by a deviation s passes with the chance Φ(x/s).
        The variances Φ(1-Φ) of blocks that lie evenly add up to s/√π times their number in each dB, and as
        gating blocks overlap, so many neighbours cross together. On average, half the variance times the
        slope of their number in each dB come from the denser side; and of two performances of one power the
        one that varies more has its levels lower, by ln 10/20 of the variance (log-normal).
        """
        past = Part(metered)
        rest = Part(self.powers, fader_db + GRID_DB + float(np.median(self.shifts_db)), self.weight)
        counts, totals = _counted(past, rest, np.full(len(GRID_DB), ABSOLUTE_GATE))
        gate = np.maximum(RELATIVE_GATE * totals / np.maximum(counts, 1.0), ABSOLUTE_GATE)
        counts, totals = _counted(past, rest, gate)
        least, middle, most = rest.above(gate * _NEAR_GATE)[0]
        crossing = GATING_STEPS * self.gating_db / math.sqrt(math.pi) * (least - most) / 2.0
        slope, density = 2.0 * middle - most - least, (least - most) / 2.0
        falling = self.more_db2 * (slope / 2.0 + density / (2.0 * _LU_OF_ONE))
        each_lu = _LU_OF_ONE * (1.0 / np.maximum(counts, 1.0) - gate / np.maximum(totals, gate))
        middle_lu, spread_lu = each_lu * falling, each_lu * np.sqrt(crossing)
        return np.interp(MOVES_DB, GRID_DB, middle_lu), np.interp(MOVES_DB, GRID_DB, spread_lu)


@dataclass(frozen=True, slots=True)
class EarlierFit:
    """How an earlier pass fits the one that is playing."""

    offset_s: float
    """Where in the earlier pass this one began, seconds; negative when this one began before it."""
    error_db: float
    """Level difference that is left, root mean square over gating blocks, a constant one taken out."""
    louder: Difference
    """How much louder this pass is, brought to the same fader."""
    fits: bool
    """True where it is near enough to forecast from."""


NO_FIT = EarlierFit(offset_s=0.0, error_db=math.inf, louder=ALIKE, fits=False)
"""The result while too little has been measured to compare."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What of the pass that plays is compared with an earlier one."""

    run: Floats
    """100 ms energies since the last cut at a fader of 0 dB, shape (n,), NaN where unknown."""
    began: int
    """How many blocks of the pass lie before *run*."""
    rest_blocks: int
    """How many blocks are still to come; 0 where that is not known."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """What an earlier pass says of the one that plays."""

    fit: EarlierFit
    rest: KnownRest | None
    """None where the earlier pass does not fit, or has too little of the rest."""


NOT_COMPARED = Comparison(NO_FIT, None)
"""The result while there is none."""

Compare = Callable[[Floats, Heard], Comparison]


def compare(profile: Floats, heard: Heard) -> Comparison:
    """Returns what an earlier pass says of the one that plays.

    profile: 100 ms energies of the earlier pass at a fader of 0 dB, shape (m,).
    """
    fit = fit_earlier(heard.run, heard.began, profile)
    if not fit.fits or heard.rest_blocks <= 0:
        return Comparison(fit, None)
    return Comparison(fit, known_rest(fit, profile, heard.began + len(heard.run), heard.rest_blocks))


def fit_earlier(run: Floats, began: int, profile: Floats) -> EarlierFit:
    """Finds the latest unbroken programme in an earlier pass.

    run: 100 ms energies since the last cut at a fader of 0 dB, shape (n,), NaN where unknown.
    began: how many blocks of the pass lie before *run*. profile: energies of the earlier pass, shape (m,).
    """
    latest = max(2 * len(run) // 3, _SHORTEST_BLOCKS)  # a lead-in may have no counterpart
    window = min(len(run), len(profile), _LONGEST_BLOCKS, latest)
    recent = run[len(run) - window :]
    if window < _SHORTEST_BLOCKS or not np.any(recent > 0.0) or not np.any(profile > 0.0):
        return NO_FIT
    skipped = began + len(run) - window
    levels, earlier = _gating_levels(recent), _gating_levels(profile)
    place = _best_place(levels, earlier, expected=skipped)
    shift = _best_shift(recent, profile[place : place + window])
    aligned = _aligned(recent, profile[place : place + window], shift)
    levels, matched = (_gating_levels(energies) for energies in aligned)
    error_db, lately_db = (
        float(_errors(levels[-latest:], matched[-latest:])[0]) for latest in (window, _LATEST_BLOCKS)
    )
    limit_db = min(max(_CLOSE_DB, 0.5 * float(np.std(levels))), _LOOSE_DB)
    fits = max(error_db, lately_db) <= limit_db
    before = min(len(run) - window, place, _LONGEST_BLOCKS - window)
    both = run[len(run) - window - before :], profile[place - before : place + window]
    louder = difference(*_aligned(*both, shift))
    return EarlierFit(round((place - skipped + shift) * BLOCK_S, 2), error_db, louder, fits)


def known_rest(fit: EarlierFit, profile: Floats, heard_blocks: int, rest_blocks: int) -> KnownRest | None:
    """The rest of a pass according to an earlier one; None when that one has too little of it."""
    at = heard_blocks + round(fit.offset_s / BLOCK_S)
    ahead = min(len(profile) - at, rest_blocks)
    if len(profile) >= heard_blocks + rest_blocks:
        rest_blocks = ahead  # the earlier pass is a whole one: the programme ends where it ended
    if ahead <= 0 or ahead < rest_blocks / 2:
        return None
    powers = gating_powers(profile[max(at - GATING_STEPS + 1, 0) : at + ahead])
    louder, share = fit.louder, _own_share(profile[at : at + ahead])
    return KnownRest(
        Powers(powers),
        rest_blocks / ahead,
        rest_levels(louder, profile[at : at + ahead]),
        math.hypot(math.sqrt(share) * louder.own_db, float(np.std(louder.levels_db))),
        share * louder.more_db2,
    )


def _own_share(energies: Floats) -> float:
    """How much of a block's own variance is left in a gating block near the gate: all where it is made of one
    loud block, a quarter where of four alike."""
    powers = gating_powers(energies)
    gate = RELATIVE_GATE * float(np.sum(powers)) / max(len(powers), 1)
    near = (powers > gate / _ABOUT) & (powers < gate * _ABOUT)
    if not near.any():
        return 1.0 / GATING_STEPS
    return float(np.mean(gating_powers(energies**2)[near] / powers[near] ** 2)) / GATING_STEPS


def _counted(past: Part, rest: Part, threshold: Floats) -> tuple[Floats, Floats]:
    """Blocks above each threshold and their summed powers."""
    (past_counts, past_totals), (counts, totals) = past.above(threshold), rest.above(threshold)
    return past_counts + counts, past_totals + totals


def _gating_levels(energies: Floats) -> Floats:
    """Of gating blocks, dB, not deeper than _DEPTH_DB under the loudest; unknown ones count as the middle of
    the others. In 100 ms an attack falls into one block or the next by the phase of the blocks; 400 ms have
    nearly all of it in either case."""
    powers = gating_powers(energies)
    floor = np.nanmax(powers) * 10.0 ** (-_DEPTH_DB / 10.0)
    levels = 10.0 * np.log10(np.maximum(powers, floor))
    return np.asarray(np.where(np.isnan(levels), np.nanmean(levels), levels))


def _best_place(levels: Floats, earlier: Floats, expected: int) -> int:
    """Block of *earlier* at which *levels* begins. The place at which it would be if both passes had begun
    together is kept unless another is clearly better."""
    last = len(earlier) - len(levels)
    places = [min(place, last) for place in _coarse_places(levels, earlier)]
    found, error_db = min((_nearby(levels, earlier, place) for place in places), key=lambda near: near[1])
    kept, kept_error_db = _nearby(levels, earlier, min(expected, last))
    return kept if kept_error_db <= 1.4 * error_db else found


def _coarse_places(levels: Floats, earlier: Floats) -> Iterator[int]:
    """The places that look best every half second, no two near each other: music repeats itself, and thinned
    levels may mistake one bar for another."""
    errors = _errors(_thin(levels), _thin(earlier))
    for _ in range(_CANDIDATES):
        best = int(np.argmin(errors))
        yield best * _COARSE_BLOCKS
        errors[max(best - _APART, 0) : best + _APART + 1] = np.inf


def _nearby(levels: Floats, earlier: Floats, place: int) -> tuple[int, float]:
    first = max(place - _NEAR_BLOCKS, 0)
    errors = _errors(levels, earlier[first : place + _NEAR_BLOCKS + len(levels)])
    best = int(np.argmin(errors))
    return first + best, float(errors[best])


def _best_shift(run: Floats, earlier: Floats) -> float:
    """By how many blocks *run* began later than *earlier*: the shift that leaves the least difference."""
    tried = [[_gating_levels(energies) for energies in _aligned(run, earlier, shift)] for shift in _SHIFTS]
    return float(_SHIFTS[int(np.argmin([_errors(*levels)[0] for levels in tried]))])


def _aligned(run: Floats, earlier: Floats, shift: float) -> tuple[Floats, Floats]:
    """Both moved to the middle between them, *run* having begun *shift* blocks later: what moves is smoothed,
    and neither must vary less for that."""
    return _shifted(run, -shift / 2.0), _shifted(earlier, shift / 2.0)


def _shifted(energies: Floats, blocks: float) -> Floats:
    """*energies* of blocks that begin later by so much of a block, earlier where it is negative; the sound
    within a block is taken to be even, and that beyond the ends to go on."""
    later, earlier = np.append(energies[1:], energies[-1:]), np.append(energies[:1], energies[:-1])
    return energies * (1.0 - abs(blocks)) + (later if blocks > 0.0 else earlier) * abs(blocks)


def _thin(levels: Floats) -> Floats:
    whole = levels[: len(levels) // _COARSE_BLOCKS * _COARSE_BLOCKS]
    return np.asarray(whole.reshape(-1, _COARSE_BLOCKS).mean(axis=1))


def _errors(levels: Floats, earlier: Floats) -> Floats:
    """Root mean square difference in dB at each place, its mean taken out, shape (m - n + 1,)."""
    count = len(levels)
    centred = levels - levels.mean()
    earlier = earlier - earlier.mean()
    sums = _sliding(earlier, count)
    variance = _sliding(earlier**2, count) - sums**2 / count
    left = np.sum(centred**2) + variance - 2.0 * _products(earlier, centred)
    return np.asarray(np.sqrt(np.maximum(left, 0.0) / count))


def _products(earlier: Floats, levels: Floats) -> Floats:
    """Sum of the products of *levels* with as many of *earlier* from each place on, shape (m - n + 1,)."""
    room = 1 << (len(earlier) - 1).bit_length()  # nothing wraps round into the places that are returned
    spectrum = np.fft.rfft(earlier, room) * np.conj(np.fft.rfft(levels, room))
    return np.asarray(np.fft.irfft(spectrum, room)[: len(earlier) - len(levels) + 1])


def _sliding(values: Floats, count: int) -> Floats:
    total: Floats = np.concatenate(([0.0], np.cumsum(values)))
    return total[count:] - total[:-count]
