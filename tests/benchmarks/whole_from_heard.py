"""Whether a regression on what is heard of a song predicts the whole better than the forecast. Run on demand:

    python tests/benchmarks/whole_from_heard.py

What the forecast of the whole is low by is fitted, after each share of a song, on three figures: the
integrated loudness so far, the forecast itself, and the loudest 10 s. The fit is a ridge regression on
several rough mixes of each song of the tuning half, at that share and those beside it. On the tuning half
each package is predicted from the others, on the judging half from all of the tuning half.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from landing_ways import GOAL
from recordings import BLOCKS_PER_S, Levels, Programme, integrated, rough_mix, shows, songs

from sidecar.advice.programme.landing import LandingAdvisor
from sidecar.loudness.gating import loudness_of

SHARES = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.7)
SHOWS = 16
MIXES = 4
"""Rough mixes of each song: they differ in level and in the turns of the hand."""

_BESIDE = 0.101
"""Shares this near are fitted together: 71 songs are few."""
_RIDGE = 1 / 160
"""Of the number of mixes: so much counts a slope of none."""
_LOUDEST_BLOCKS = 10 * BLOCKS_PER_S


@dataclass(frozen=True)
class Heard:
    """What was heard of mixes after each share; levels over the target, LU."""

    packages: Levels
    """Shape (mixes,)."""
    wholes_lu: Levels
    """Shape (mixes,)."""
    figures: Levels
    """Integrated loudness so far, forecast of the whole, the loudest 10 s over that loudness; shape (mixes,
    shares, 3), NaN where too little was heard."""

    def errors_lu(self, share: int) -> Levels:
        """What the forecast of the whole is low by, shape (mixes,)."""
        return np.asarray(self.wholes_lu - self.figures[:, share, 1])

    def is_known(self, share: int) -> Levels:
        return np.asarray(np.isfinite(self.figures[:, share]).all(axis=1))


def heard(mixes: Sequence[Programme], shares: Sequence[float]) -> Heard:
    """Plays each mix up to each of the shares."""
    return Heard(
        np.array([mix.name.split("/")[0] for mix in mixes]),
        np.array([mix.lufs - GOAL.target_lufs for mix in mixes]),
        np.array([_figures(mix, shares) for mix in mixes]),
    )


def _figures(mix: Programme, shares: Sequence[float]) -> Levels:
    advisor, place, rows = LandingAdvisor(GOAL, mix.seconds), 0, []
    for share in shares:
        stop = round(len(mix.energies) * share)
        advisor.push(mix.energies[place:stop], 0.0, mix.true_peaks_dbtp[place:stop])
        place, outlook, so_far = stop, advisor.outlook(), mix.energies[:stop]
        lufs = integrated(so_far)
        if outlook is None or not np.isfinite(lufs):
            rows.append([np.nan] * 3)
            continue
        window = np.ones(min(_LOUDEST_BLOCKS, stop))
        loudest = loudness_of(np.convolve(so_far, window / len(window), "valid").max())
        rows.append([lufs - GOAL.target_lufs, outlook.expected_lu, float(loudest) - lufs])
    return np.array(rows)


def predicted_lu(known: Heard, share: int, figures: Levels) -> Levels:
    """What the forecast is low by after that share, by a fit on *known*; shape (mixes,)."""
    beside = [place for place, near in enumerate(SHARES) if abs(near - SHARES[share]) <= _BESIDE]
    usable = [(known.is_known(place), place) for place in beside]
    rows = np.concatenate([known.figures[is_known, place] for is_known, place in usable])
    errors_lu = np.concatenate([known.errors_lu(place)[is_known] for is_known, place in usable])
    middle, scale = rows.mean(axis=0), rows.std(axis=0)
    even = (rows - middle) / scale
    square = even.T @ even + _RIDGE * len(rows) * np.eye(rows.shape[1])
    slopes = np.linalg.solve(square, even.T @ (errors_lu - errors_lu.mean()))
    return np.asarray(errors_lu.mean() + (figures - middle) / scale @ slopes)


def left_lu(known: Heard, mixes: Heard, *, out_of_package: bool) -> list[tuple[float, float, float]]:
    """Root mean square error of the forecast and of the fit, and the bias of the fit, after each share."""
    found = []
    for share in range(len(SHARES)):
        left = mixes.errors_lu(share)
        for package in np.unique(mixes.packages):
            own = mixes.packages == package
            others = known.packages != package if out_of_package else np.ones(len(known.packages), np.bool_)
            learnt = Heard(known.packages[others], known.wholes_lu[others], known.figures[others])
            left[own] -= predicted_lu(learnt, share, mixes.figures[own, share])
        before = mixes.errors_lu(share)
        found.append((_rms(before), _rms(left), float(np.nanmean(left))))
    return found


def _rms(errors_lu: Levels) -> float:
    return float(np.sqrt(np.nanmean(errors_lu**2)))


def _mixes(masters: list[Programme], count: int) -> list[Programme]:
    """The rough mix of each, and others of it."""
    names = ["", *(f" {number}" for number in range(2, count + 1))]
    return [
        rough_mix(master.raised(0.0, master.name + name), GOAL.target_lufs)
        for master in masters
        for name in names
    ]


def main() -> None:
    def played(masters: list[Programme], count: int = 1) -> Heard:
        return heard(_mixes(masters, count), SHARES)

    known = played(songs("tuning"), MIXES)
    kinds = {
        "songs, tuning half": known,
        "songs, judging half": played(songs("judging")),
        "shows, tuning half": played(shows("tuning", SHOWS)),
    }
    print(f"error after {', '.join(f'{share:.0%}' for share in SHARES)}, LU: forecast, fit (bias of the fit)")
    for kind, mixes in kinds.items():
        found = left_lu(known, mixes, out_of_package=mixes is known)
        print(f"{kind:20}", *(f"{before:.2f} {left:.2f} ({bias:+.2f})" for before, left, bias in found))


if __name__ == "__main__":
    main()
