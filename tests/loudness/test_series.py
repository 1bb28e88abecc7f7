"""Rows that grow: what was put in comes out again, from wherever it is asked for."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.loudness.series import Crests, Singles, Steps

RUNS = st.lists(st.tuples(st.sampled_from([0.0, -3.5, -math.inf, 6.0]), st.integers(1, 40)), max_size=12)


def pieces(values, count):
    return np.array_split(values, count)


@settings(deadline=None)
@given(runs=RUNS, count=st.integers(1, 9), first=st.integers(0, 500), length=st.integers(0, 500))
def test_a_fader_that_rests_and_moves_is_told_for_every_block(runs, count, first, length):
    """Kept where it changes, closed or open, it reads as if every block were kept."""
    values = np.repeat([level for level, _ in runs], [blocks for _, blocks in runs]).astype(np.float64)
    steps = Steps()
    for piece in pieces(values, count):
        steps.append(piece)
    first = min(first, len(values))
    past = min(first + length, len(values))

    assert values[first:past].tolist() == steps.part(first, past).tolist()


@pytest.mark.parametrize("count", [1, 7, 300])
def test_numbers_come_out_of_any_stretch_in_single_precision(count):
    """However they came, a stretch across several chunks is what was put in."""
    values = np.random.default_rng(1).random(20_000)
    singles = Singles()
    for piece in pieces(values, count):
        singles.append(piece)

    assert len(singles) == 20_000
    for first, past in ((0, 20_000), (4095, 4097), (4096, 8192), (5, 5), (19_999, 20_000)):
        assert values[first:past].astype(np.float32).tolist() == singles.part(first, past).tolist()


@pytest.mark.parametrize("count", [1, 13, 500])
def test_of_each_ten_numbers_the_highest_stands_for_all(count):
    """However they came, and silence is minus infinity."""
    values = np.random.default_rng(2).normal(-12.0, 3.0, 1003)
    values[40:50] = -math.inf
    crests = Crests()
    for piece in pieces(values, count):
        crests.append(piece)
    expected = [float(np.float32(values[start : start + 10].max())) for start in range(0, 1003, 10)]

    assert crests.part(0, 1003)[::10].tolist() == expected
    assert expected[3:7] == crests.part(39, 61)[[0, 1, 11, 21]].tolist()
