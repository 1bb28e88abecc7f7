"""Measures of a whole history."""

import math

import numpy as np
import pytest
from advice_reference import energy, integrated, material

from sidecar.loudness.statistics import loudness_range, measured, windowed


def steady(*parts):
    """Energies of (level in LUFS, seconds) one after the other."""
    return energy(np.concatenate([np.full(round(seconds * 10), level) for level, seconds in parts]))


@pytest.mark.parametrize(
    ("levels", "expected"),
    [((-20, -30), 10), ((-20, -15), 5), ((-40, -20), 20), ((-50, -35, -20, -35, -50), 15)],
)
def test_the_published_cases_of_the_loudness_range(levels, expected):
    """EBU Tech 3342 V4, minimum requirements 1 to 4: 20 s a level, ±1 LU."""
    history = measured(steady(*((level, 20) for level in levels)))

    assert expected == pytest.approx(history.loudness_range, abs=1.0)


def slow_range(energies):
    """Tech 3342 §3.1 and §5 spelled out."""
    windows = [sum(energies[start : start + 30]) / 30 for start in range(len(energies) - 29)]
    kept = [window for window in windows if window >= energy(-70.0)]
    gate = sum(kept) / len(kept) / 100.0
    kept = sorted(window for window in kept if window >= gate)
    low, high = (kept[math.floor((len(kept) - 1) * p / 100 + 1 + 0.5) - 1] for p in (10, 95))
    return 10.0 * math.log10(high / low)


@pytest.mark.parametrize("seed", range(4))
def test_a_history_measures_as_the_standards_spell_it_out(seed):
    """Integrated, range and both maxima of invented material against slow second implementations."""
    energies = material(seed, 60)
    history = measured(energies)

    assert integrated(energies) == pytest.approx(history.integrated, abs=1e-6)
    assert slow_range(energies) == pytest.approx(history.loudness_range, abs=1e-6)
    assert energy(history.max_short_term) == pytest.approx(
        max(np.convolve(energies, np.ones(30) / 30, "valid"))
    )
    assert energy(history.max_momentary) == pytest.approx(max(np.convolve(energies, np.ones(4) / 4, "valid")))


def test_what_is_too_short_measures_as_nothing():
    """Under a window's length there is no reading, and silence has no range."""
    assert measured(energy([-23.0] * 3)).integrated == -math.inf
    assert measured(energy([-23.0] * 29)).max_short_term == -math.inf
    assert loudness_range(windowed(np.zeros(100), 30)) == 0.0
