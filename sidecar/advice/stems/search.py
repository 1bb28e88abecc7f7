"""Which faders to move, and by how much, so that a quadratic form reaches an energy.

Pure algebra behind gates that are held still; the caller sets the gates anew and asks again.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sidecar.advice.stems.history import Bools
from sidecar.loudness.series import Floats

MOST_FADERS = 3
"""More than three faders moved apart is no correction but a new balance: then all go together."""


@dataclass(frozen=True, slots=True)
class Candidates:
    """Ways to move: in each some faders share a change that is solved for, others go to fixed changes."""

    solved: Bools
    """Faders that share the change, shape (ways, stems)."""
    fixed_db: Floats
    """Changes of all other faders, shape (ways, stems): 0 where a fader stays."""

    def __getitem__(self, way: int) -> Candidates:
        return Candidates(self.solved[way : way + 1], self.fixed_db[way : way + 1])

    def changes_db(self, shared_db: Floats) -> Floats:
        """Changes of all faders, shape (ways, stems). shared_db: shape (ways,)."""
        return np.where(self.solved, shared_db[:, None], self.fixed_db)


def together(free: Bools) -> Candidates:
    """The one way in which all *free* faders move alike."""
    return Candidates(free[None], np.zeros((1, len(free))))


def ways(free: Sequence[int], reach_db: Floats, faders: int) -> Candidates:
    """Every way to land with so many faders.

    reach_db: the furthest change of each fader in the direction wanted, shape (stems,). To raise a mix by
    the fewest dB, all but one of the faders go as far as they may (the energy is convex in dB, so the
    least sum lies in a corner); to lower it, a common change can cost less, so that is tried as well.
    """
    groups = np.array(list(itertools.combinations(free, faders)), dtype=np.intp).reshape(-1, faders)
    rows = np.arange(len(groups))
    group = np.zeros((len(groups), len(reach_db)), dtype=np.bool_)
    group[rows[:, None], groups] = True
    solved, fixed_db = [group], [np.zeros(group.shape)]
    for place in range(faders if faders > 1 else 0):
        alone = np.zeros_like(group)
        alone[rows, groups[:, place]] = True
        solved.append(alone)
        fixed_db.append(np.where(group & ~alone, reach_db, 0.0))
    return Candidates(np.concatenate(solved), np.concatenate(fixed_db))


def shared_changes_db(products: Floats, candidates: Candidates, energy: float) -> Floats:
    """The change of the solved faders that gives the mix *energy*, shape (ways,); NaN where none does.

    products: mean products at the present positions, shape (stems, stems). Of two answers (stems that cancel
    each other) the smaller change is given.
    """
    moved = candidates.solved.astype(np.float64)
    still = np.where(candidates.solved, 0.0, 10.0 ** (candidates.fixed_db / 20.0))
    square = np.einsum("wi,wi->w", moved @ products, moved)
    cross = np.einsum("wi,wi->w", moved @ products, still)
    rest = np.einsum("wi,wi->w", still @ products, still) - energy
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(cross * cross - square * rest)
        changes = 20.0 * np.log10(np.stack([root - cross, -root - cross]) / square)
    changes = np.where(np.isfinite(changes), changes, np.inf)
    nearest = np.take_along_axis(changes, np.abs(changes).argmin(axis=0)[None], axis=0)[0]
    return np.where(np.isinf(nearest), np.nan, nearest)


def cheapest(
    candidates: Candidates, products: Floats, energy: float, bounds_db: tuple[Floats, Floats]
) -> list[Candidates]:
    """Ways that reach *energy* inside the bounds (lowest and highest changes), the least sum of dB first."""
    changes = candidates.changes_db(shared_changes_db(products, candidates, energy))
    low_db, high_db = bounds_db
    fits = np.all((changes >= low_db) & (changes <= high_db), axis=1)
    cost = np.where(fits, np.abs(changes).sum(axis=1), np.inf)
    order = np.argsort(cost, kind="stable")[: np.count_nonzero(fits)]
    return [candidates[int(way)] for way in order]
