"""EBU Tech 3341 V4, Table 1 (§2.9), rows 15–23: true peak between the samples."""

import numpy as np
import pytest
from ebu_signals import RATES_HZ, TRUE_PEAK_ROWS, hidden_period, live, true_peak_sine
from playing import read_file

from sidecar.meter import Meter

pytestmark = pytest.mark.parametrize("rate_hz", RATES_HZ)

OVER_DB, UNDER_DB = 0.2, 0.4
"""The tolerance of rows 15–23, not symmetrical: +0.2/−0.4 dB."""

rows_20_to_23 = pytest.mark.parametrize("offset", range(4), ids=lambda offset: f"row-{20 + offset}")


def assert_true_peak(expected_dbtp, actual_dbtp):
    assert expected_dbtp - UNDER_DB <= actual_dbtp <= expected_dbtp + OVER_DB


@pytest.mark.parametrize("row", TRUE_PEAK_ROWS, ids=lambda row: f"row-{row}")
def test_the_peak_of_a_sine_is_found_at_any_phase(rate_hz, row):
    """Rows 15–19: the true peak of a sine of a fraction of the rate is its amplitude, in each channel."""
    *_, expected = TRUE_PEAK_ROWS[row]
    samples = true_peak_sine(rate_hz, row)

    reading = read_file([np.column_stack([samples, samples])], rate_hz)

    assert_true_peak(expected, reading.max_true_peak)
    assert (reading.max_true_peak, reading.max_true_peak) == reading.true_peak


@rows_20_to_23
def test_a_single_period_between_the_samples_is_found(rate_hz, offset):
    """Rows 20–23: one full-scale period of fs/4 reads 0.0 dBTP wherever the samples fall on it."""
    frames = hidden_period(rate_hz, offset)

    assert_true_peak(0.0, read_file([frames], rate_hz).max_true_peak)


@rows_20_to_23
def test_a_single_period_is_found_live(rate_hz, offset):
    """Rows 20–23 live: a peak that straddles two blocks is found as soon as silence has followed it."""
    meter = Meter(sample_rate=rate_hz, layout="stereo")
    for block in live([hidden_period(rate_hz, offset), np.zeros((rate_hz // 20, 2))], rate_hz):
        meter.push(block)

    assert_true_peak(0.0, meter.reading().max_true_peak)


def test_a_peak_that_the_end_of_the_file_cuts_off_is_found(rate_hz):
    """BS.1770-5 Annex 2: two equal last samples peak half way between, 4/π = +2.1 dB above both."""
    frames = np.zeros((rate_hz // 10, 2))
    frames[-2:, 1] = 0.5

    reading = read_file([frames], rate_hz)

    assert -np.inf == reading.true_peak[0]
    assert_true_peak(20 * np.log10(0.5 * 4 / np.pi), reading.true_peak[1])


def test_the_sample_peak_is_the_largest_sample(rate_hz):
    """The sample peak of row 16's sine stays 3.01 dB under its true peak (BS.1770-5 Annex 2)."""
    samples = true_peak_sine(rate_hz, 16)

    reading = read_file([np.column_stack([samples, -samples])], rate_hz)

    assert reading.sample_peak == pytest.approx(-6.02 - 3.01, abs=0.01)
