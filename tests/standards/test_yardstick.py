"""The whole-file definitions that the meter is compared with, held against the published tables first."""

import numpy as np
import pytest
from ebu_signals import (
    INTEGRATED_ROWS,
    MOMENTARY_ROW_12,
    RANGE_ROWS,
    SHORT_TERM_ROW_9,
    TRUE_PEAK_ROWS,
    hidden_period,
    layout_of,
    range_segments,
    tones,
    true_peak_sine,
)
from whole_file import K_WEIGHTING_48_KHZ, WholeFile, percentile, true_peak

RATE_HZ = 48_000


def whole_file(segments, weights=(1.0, 1.0)):
    frames = np.concatenate(list(tones(RATE_HZ, segments, len(weights))))
    return WholeFile(frames, RATE_HZ, weights, K_WEIGHTING_48_KHZ)


@pytest.mark.parametrize("row", INTEGRATED_ROWS, ids=lambda row: f"row-{row}")
def test_the_definition_of_integrated_loudness(row):
    """Tech 3341 Table 1, rows 3–6: −23.0 ±0.1 LUFS."""
    _, channels = layout_of(row)
    weights = (1.0, 1.0, 1.0, 1.41, 1.41)[:channels]

    assert whole_file(INTEGRATED_ROWS[row], weights).integrated == pytest.approx(-23.0, abs=0.1)


def test_the_definition_of_the_sliding_windows():
    """Tech 3341 Table 1, rows 9 and 12: S and M are −23.0 ±0.1 LUFS and constant."""
    short_term = whole_file(SHORT_TERM_ROW_9).windows(3.0, 0.1)
    momentary = whole_file(MOMENTARY_ROW_12).windows(0.4, 0.01)

    np.testing.assert_allclose(short_term, -23.0, rtol=0.0, atol=0.1)
    np.testing.assert_allclose(momentary, -23.0, rtol=0.0, atol=0.1)


@pytest.mark.parametrize("row", RANGE_ROWS, ids=lambda row: f"row-{row}")
def test_the_definition_of_loudness_range(row):
    """Tech 3342 Table 1, rows 1–4, with the silence of §5: within 1 LU."""
    _, expected = RANGE_ROWS[row]
    whole = whole_file(range_segments(row)).followed_by_silence(1.5)

    assert whole.loudness_range == pytest.approx(expected, abs=1.0)


@pytest.mark.parametrize(("percent", "expected"), [(0, 1.0), (10, 2.0), (50, 6.0), (95, 11.0), (100, 11.0)])
def test_percentiles_are_values_that_occurred(percent, expected):
    """Tech 3342 §5: of 11 values, index round(10·p/100 + 1), halves up; nothing is interpolated."""
    assert percentile(np.arange(1.0, 12.0), percent) == expected


@pytest.mark.parametrize("row", TRUE_PEAK_ROWS, ids=lambda row: f"row-{row}")
def test_the_interpolation_finds_the_peaks_of_sines(row):
    """Tech 3341 Table 1, rows 15–19: the amplitude of the sine, much closer than the row asks."""
    _, amplitude, _, _ = TRUE_PEAK_ROWS[row]

    assert true_peak(true_peak_sine(RATE_HZ, row)) == pytest.approx(20 * np.log10(amplitude), abs=0.001)


@pytest.mark.parametrize("offset", range(4), ids=lambda offset: f"row-{20 + offset}")
def test_the_hidden_period_peaks_where_the_table_says(offset):
    """Tech 3341 Table 1, rows 20–23: what we build peaks at 0.0 dBTP +0.2/−0.4 dB whatever the offset."""
    peak = true_peak(hidden_period(RATE_HZ, offset)[:, 0])

    assert -0.4 <= peak <= 0.2
