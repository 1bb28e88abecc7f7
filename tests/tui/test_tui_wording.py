"""Numbers as they are written."""

import math

import pytest
from scripted_feed import BROADCAST, EXCHANGE, SPEECH

from sidecar.loudness.limits import side_of
from tui.drawing import wording


@pytest.mark.parametrize(
    ("value", "text"),
    [(-23.04, "−23.0"), (-0.04, "0.0"), (0.0, "0.0"), (1.26, "1.3"), (-math.inf, "−−.−"), (math.nan, "−−.−")],
)
def test_a_value_has_one_decimal_and_no_signed_zero(value, text):
    """EBU Tech 3341 §2.8 allows one decimal; silence is dashes, never infinity."""
    assert text == wording.plain(value)


def test_the_unit_follows_the_scale():
    """EBU Tech 3341 §2.8: the unit is always shown and switches with the scale."""
    assert wording.level(-22.1, BROADCAST, relative=False) == "−22.1 LUFS"
    assert wording.level(-22.1, BROADCAST, relative=True) == "+0.9 LU"
    assert wording.level(-22.1, EXCHANGE, relative=False) == "−22.1 LKFS"
    assert wording.level(-math.inf, BROADCAST, relative=True) == "−−.− LU"


def test_zero_lu_is_minus_23_lufs():
    """EBU Tech 3341 §2.7: −23.0 LUFS is 0.0 LU."""
    assert wording.level(-23.0, BROADCAST, relative=True) == "0.0 LU"


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (-23.2, "inside"),
        (-22.8, "inside"),
        (-23.24, "inside"),
        (-22.76, "inside"),
        (-23.26, "under"),
        (-22.74, "over"),
        (-math.inf, "under"),
    ],
)
def test_both_ends_of_the_tolerance_pass(value, expected):
    """EBU R 128 V5 i): ±0.2 LU is allowed, judged as shown: the sum −23.0 + 0.2 must not call −22.8 over."""
    assert side_of(value, BROADCAST.lowest_lufs, BROADCAST.highest_lufs) == expected


@pytest.mark.parametrize(
    ("seconds", "text"), [(0.0, "0:00"), (59.99, "0:59"), (61.0, "1:01"), (3600.0, "1:00:00"), (-1.0, "0:00")]
)
def test_programme_time_grows_an_hour_only_when_needed(seconds, text):
    """Minutes and seconds, hours from the first one on."""
    assert text == wording.clock(seconds)


def test_a_meter_set_elsewhere_says_so():
    """EBU Tech 3341 §2: set to another target than −23 LUFS it is not in EBU Mode."""
    assert wording.not_ebu_mode(BROADCAST) == ""
    assert wording.not_ebu_mode(SPEECH) == "not EBU Mode"


def test_rates_and_counts_read_at_a_glance():
    """kHz without needless zeros, thousands apart."""
    assert tuple(wording.rate(hertz) for hertz in (48_000, 44_100, 0)) == ("48 kHz", "44.1 kHz", "")
    assert wording.count(1_234_567) == "1 234 567"
