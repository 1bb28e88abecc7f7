"""What a whole history of 100 ms energies measures: integrated, maxima, loudness range."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.loudness.gating import GATING_STEPS, Part, Powers, gated_loudness, gating_powers, loudness_of
from sidecar.loudness.series import Floats
from sidecar.model.readings import SILENCE
from sidecar.model.units import mean_square

SHORT_TERM_STEPS = 30
"""100 ms steps in the 3 s window (Tech 3341 §2.2)."""

_RANGE_GATE_LU = 20.0
"""Relative gate of the loudness range; comparisons are ≥ here (Tech 3342 §3.1)."""


@dataclass(frozen=True, slots=True)
class ProgrammeStatistics:
    """Measures of a whole history, on its 100 ms grid."""

    integrated: float = SILENCE
    max_short_term: float = SILENCE
    max_momentary: float = SILENCE
    loudness_range: float = 0.0


def measured(energies: Floats, cuts: Sequence[int] = ()) -> ProgrammeStatistics:
    """Measures of 100 ms energies, shape (n,). cuts: blocks that do not follow the one before them."""
    momentary = _silent_across(cuts, gating_powers(energies), GATING_STEPS)
    short_term = windowed(energies, SHORT_TERM_STEPS, cuts)
    return ProgrammeStatistics(
        float(gated_loudness([Part(Powers(momentary))])),
        float(loudness_of(short_term.max(initial=0.0))),
        float(loudness_of(momentary.max(initial=0.0))),
        loudness_range(short_term),
    )


def windowed(energies: Floats, steps: int, cuts: Sequence[int] = ()) -> Floats:
    """Mean squares over *steps* blocks, one window each 100 ms, shape (max(n - steps + 1, 0),).

    cuts: blocks that do not follow the one before them. A window across a cut is 0: it never sounded.
    """
    if len(energies) < steps:
        return np.empty(0)
    total = np.concatenate(([0.0], np.cumsum(energies)))
    return _silent_across(cuts, np.maximum(total[steps:] - total[:-steps], 0.0) / steps, steps)


def _silent_across(cuts: Sequence[int], windows: Floats, steps: int) -> Floats:
    for cut in cuts:
        windows[max(cut - steps + 1, 0) : cut] = 0.0
    return windows


def programme_windows(short_term: Floats) -> NDArray[np.bool_]:
    """Short-term windows that count for the loudness range (Tech 3342 §3.1): shape as given."""
    kept = short_term >= mean_square(-70.0)
    if kept.any():
        kept &= short_term >= short_term[kept].mean() * 10.0 ** (-_RANGE_GATE_LU / 10.0)
    return kept


def percentile_levels(short_term: Floats) -> tuple[float, float]:
    """The 10th and the 95th percentile of what counts, LUFS (Tech 3342 §5); ``-inf`` twice in silence."""
    levels = np.sort(short_term[programme_windows(short_term)])
    if not levels.size:
        return SILENCE, SILENCE
    low, high = (levels[math.floor((levels.size - 1) * share + 0.5)] for share in (0.10, 0.95))
    return float(loudness_of(low)), float(loudness_of(high))


def loudness_range(short_term: Floats) -> float:
    """LU of short-term mean squares (Tech 3342 §3.1); 0 in silence."""
    low, high = percentile_levels(short_term)
    return high - low if math.isfinite(low) else 0.0


def runs(flags: NDArray[np.bool_], bridge: int) -> Iterator[tuple[int, int]]:
    """First and past-the-last index of each run of True; gaps of up to *bridge* are closed."""
    hits = np.flatnonzero(flags)
    if not hits.size:
        return
    cuts = np.flatnonzero(np.diff(hits) > bridge + 1)
    for first, last in zip(hits[np.append(0, cuts + 1)], hits[np.append(cuts, hits.size - 1)], strict=True):
        yield int(first), int(last) + 1
