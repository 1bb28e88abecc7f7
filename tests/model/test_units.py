"""The conversions between powers, amplitudes and levels, held against the standards' own anchors."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import sosfreqz

from sidecar.model.readings import ALERT_NAMES, SILENCE, AlertName, Move, Reading
from sidecar.model.units import amplitude, decibel, figure, h_mm_ss, loudness, mean_square, window_figure

# ITU-R BS.1770-5 Annex 1, tables 1 and 2: the K-weighting at 48 kHz.
K_WEIGHTING = np.array(
    [
        [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621],
    ]
)


def weighted_sine(peak_dbfs: float, frequency_hz: float) -> float:
    """Mean square of a K-weighted sine, by scipy from the published coefficients."""
    _, response = sosfreqz(K_WEIGHTING, worN=[frequency_hz], fs=48_000)
    return float(np.abs(response[0]) ** 2 * 10 ** (peak_dbfs / 10) / 2)


def test_a_full_scale_sine_in_one_channel_reads_what_the_standard_says():
    """0 dBFS at 997 Hz in one of L, R or C reads -3.01 LKFS (BS.1770-5 Annex 1)."""
    assert pytest.approx(loudness(weighted_sine(0.0, 997.0)), abs=0.005) == -3.01


@pytest.mark.parametrize(
    ("peak_dbfs", "expected_lufs"),
    [
        (-18.0, -18.0),  # Tech 3341 §2.9, line-up
        (-23.0, -23.0),  # Tech 3341 §2.9, case 1
        (-33.0, -33.0),  # Tech 3341 §2.9, case 2
    ],
)
def test_a_tone_in_both_channels_reads_its_peak_level(peak_dbfs, expected_lufs):
    """1 kHz in phase in two channels: the number of LUFS is that of the peak in dBFS (Tech 3341 §2.9)."""
    both = 2.0 * weighted_sine(peak_dbfs, 1000.0)

    assert expected_lufs == pytest.approx(loudness(both), abs=0.1)


def test_ten_times_the_power_is_ten_lu():
    """+1 dB of input is +1 LKFS (BS.1770-5 Annex 1)."""
    assert pytest.approx(loudness(0.3) - loudness(0.03), abs=1e-12) == 10.0


@given(st.floats(-150.0, 20.0))
def test_mean_square_undoes_loudness(level_lufs):
    """A level turned into a power and back is itself."""
    assert level_lufs == pytest.approx(loudness(mean_square(level_lufs)), abs=1e-9)


def test_silence_is_minus_infinity_both_ways():
    """No power is -inf LUFS, -inf LUFS is no power, and a rounding error below zero is still silence."""
    assert (loudness(0.0), loudness(-1e-30), decibel(0.0)) == (SILENCE, SILENCE, SILENCE)
    assert mean_square(SILENCE) == 0.0
    assert -math.inf == SILENCE


def test_the_smallest_power_is_a_finite_level():
    """Nothing but silence reads as silence."""
    assert math.isfinite(loudness(5e-324))
    assert math.isfinite(decibel(5e-324))


@pytest.mark.parametrize(
    ("amplitude", "expected_db"),
    [
        (1.0, 0.0),
        (0.5, -6.0),  # Tech 3341 §2.9, case 15: 0.50 of full scale is -6.0 dBTP
        (1.41, 3.0),  # Tech 3341 §2.9, case 19: 1.41 of full scale is +3.0 dBTP
        (0.1, -20.0),  # definition of the decibel
    ],
)
def test_decibels_of_an_amplitude(amplitude, expected_db):
    """Amplitudes read as the true-peak cases of Tech 3341 print them, to their one decimal."""
    assert expected_db == pytest.approx(decibel(amplitude), abs=0.05)


def test_a_fresh_reading_is_silence():
    """Before anything was measured, levels are -inf and nothing claims to be a value."""
    reading = Reading()

    assert {
        reading.momentary,
        reading.short_term,
        reading.integrated,
        reading.max_momentary,
        reading.max_short_term,
        reading.max_true_peak,
        reading.sample_peak,
    } == {SILENCE}
    assert (reading.true_peak, reading.seconds, reading.range_is_stable) == ((), 0.0, False)


def test_what_flows_cannot_be_changed_on_the_way():
    """A reading that the screen holds stays what the meter said."""
    with pytest.raises(FrozenInstanceError):
        Reading().integrated = -23.0


@pytest.mark.parametrize(
    ("move", "is_quiet"),
    [
        (Move(), True),
        (Move(gain_db=-0.1), False),
        (Move(gain_db=0.0, limited_by="ceiling"), False),
    ],
)
def test_only_advice_with_nothing_to_say_is_quiet(move, is_quiet):
    """A move that a limit keeps at nothing still has a direction and a reason."""
    assert is_quiet == move.is_quiet


def test_every_alert_has_its_place_in_the_order():
    """The order names each alert that exists, once."""
    assert sorted(get_args(AlertName)) == sorted(ALERT_NAMES)


@pytest.mark.parametrize(("value", "expected"), [(-332.8, "−∞"), (-200.0, "−∞"), (-144.5, "−144.5")])
def test_what_filters_remember_of_sound_is_no_level(value, expected):
    """Minutes after the last note a filter still holds 1e-16 of it: that must not be shown as loudness."""
    assert figure(value) == expected


@given(st.floats(-180.0, 60.0))
def test_an_amplitude_comes_back_as_its_level(level_db):
    assert decibel(amplitude(level_db)) == pytest.approx(level_db, abs=1e-9)
    assert amplitude(level_db) == pytest.approx(np.power(10.0, level_db / 20.0))


def test_silence_has_no_amplitude():
    assert amplitude(SILENCE) == 0.0


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.0, "0:00:00"), (59.999, "0:00:59"), (3599.9, "0:59:59"), (3661.0, "1:01:01"), (90_000.0, "25:00:00")],
)
def test_a_time_counts_whole_seconds_that_have_passed(seconds, text):
    assert h_mm_ss(seconds) == text


def test_a_window_longer_than_the_programme_has_no_figure():
    assert window_figure(-23.0, 3.0, 2.9) == "–"
    assert window_figure(-23.0, 3.0, 3.0) == "−23.0"
