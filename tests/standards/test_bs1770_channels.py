"""ITU-R BS.1770-5: channel weights (Annex 1, Table 3), the LFE, and weights by position (Annex 3)."""

import math

import numpy as np
import pytest
from ebu_signals import sine

from sidecar.meter import Meter, annex3_weight

RATE_HZ = 48_000
FULL = -3.01
"""LKFS of a full-scale 997 Hz sine in one channel of weight 1.0 (Annex 1)."""
SURROUND = FULL + 10.0 * math.log10(1.41)
"""The same in a channel of weight 1.41 (Table 3 prints +1.5 dB)."""
NOTHING = -math.inf

# Weight classes follow from Annex 3 and the nominal angles of BS.2051: C 0°, L/R ±30°, Ls/Rs ±110°,
# Lss/Rss ±90°, Lrs/Rrs ±135°, all tops at 30° elevation or more.
LAYOUTS = {
    "mono": [FULL],
    "stereo": [FULL] * 2,
    "5.0": [FULL] * 3 + [SURROUND] * 2,
    "5.1": [FULL] * 3 + [NOTHING] + [SURROUND] * 2,
    "7.1": [FULL] * 3 + [NOTHING] + [SURROUND] * 2 + [FULL] * 2,
    "7.1.4": [FULL] * 3 + [NOTHING] + [SURROUND] * 2 + [FULL] * 6,
    "L,R,Ls,Rs,C,LFE": [FULL] * 2 + [SURROUND] * 2 + [FULL, NOTHING],
    "C,LFE,Rrs,Lss,Rtb": [FULL, NOTHING, FULL, SURROUND, FULL],
}


def near(loudness):
    return NOTHING if loudness == NOTHING else pytest.approx(loudness, abs=0.01)


def reading_of(levels, **how):
    """Reading after 4 s of in-phase 997 Hz sines of these amplitudes, one a channel."""
    meter = Meter(sample_rate=RATE_HZ, **how)
    meter.push(np.outer(sine(RATE_HZ, 997.0, 4.0), levels).astype(np.float32))
    return meter.reading()


@pytest.mark.parametrize(
    ("layout", "channel"),
    [(layout, channel) for layout, loudness in LAYOUTS.items() for channel in range(len(loudness))],
)
def test_each_channel_alone_counts_as_its_position_does(layout, channel):
    """Table 3, Annex 3: fronts, rears and tops 0 dB, surrounds +1.5 dB (1.41, not √2), LFE not at all."""
    levels = np.zeros(len(LAYOUTS[layout]))
    levels[channel] = 1.0

    reading = reading_of(levels, layout=layout)

    assert near(LAYOUTS[layout][channel]) == reading.integrated
    assert near(LAYOUTS[layout][channel]) == reading.momentary
    assert near(LAYOUTS[layout][channel]) == reading.short_term


def test_one_signal_in_two_channels_reads_3_lu_more():
    """Annex 1, equation 2 sums the powers: the same sine in L and R reads +3.01 LU over L alone or mono."""
    mono = reading_of([1.0], layout="mono").integrated

    assert reading_of([1.0, 0.0], layout="stereo").integrated == pytest.approx(mono, abs=1e-6)
    assert reading_of([1.0, 1.0], layout="stereo").integrated == pytest.approx(mono + 3.0103, abs=0.001)


def test_opposite_phases_do_not_cancel():
    """Annex 1 adds powers, not signals: polarity of a channel makes no difference."""
    expected = reading_of([1.0, 1.0], layout="stereo").integrated

    assert reading_of([1.0, -1.0], layout="stereo").integrated == expected


def test_loudness_follows_level_decibel_for_decibel():
    """Annex 1: +1 dB of input is +1 LKFS."""
    quiet = reading_of([0.1, 0.1], layout="stereo").integrated

    louder = reading_of([0.1 * 10**0.05] * 2, layout="stereo").integrated

    assert louder == pytest.approx(quiet + 1.0, abs=0.0001)


def test_a_channel_count_stands_for_mono_and_stereo():
    """channels=1 and channels=2 measure as the layouts mono and stereo do."""
    assert reading_of([1.0], layout="mono") == reading_of([1.0], channels=1)
    assert reading_of([1.0, 0.5], layout="stereo") == reading_of([1.0, 0.5], channels=2)


def test_weights_may_be_given_outright():
    """weights=(…) weigh the powers as given; a channel of weight 0 is left out as an LFE is."""
    weights = (1.0, 1.41, 0.0)

    assert near(FULL) == reading_of([1.0, 0.0, 0.0], weights=weights).integrated
    assert near(SURROUND) == reading_of([0.0, 1.0, 0.0], weights=weights).integrated
    assert near(NOTHING) == reading_of([0.0, 0.0, 1.0], weights=weights).integrated
    assert near(FULL + 10 * math.log10(2.41)) == reading_of([1.0, 1.0, 1.0], weights=weights).integrated


def test_the_lfe_counts_for_true_peak_alone():
    """Annex 1 leaves the LFE out of loudness; Annex 2 scans every channel for true peak."""
    reading = reading_of([0.1, 0.1, 0.1, 1.0, 0.1, 0.1], layout="5.1")
    without = reading_of([0.1, 0.1, 0.1, 0.0, 0.1, 0.1], layout="5.1")

    assert without.integrated == reading.integrated
    assert without.loudness_range == reading.loudness_range
    assert reading.true_peak[3] == pytest.approx(0.0, abs=0.1)
    assert reading.max_true_peak == pytest.approx(0.0, abs=0.1)
    assert reading.sample_peak == pytest.approx(0.0, abs=0.01)
    assert reading.true_peak[:3] + reading.true_peak[4:] == pytest.approx([-20.0] * 5, abs=0.1)


@pytest.mark.parametrize("sign", [1, -1], ids=["left", "right"])
@pytest.mark.parametrize(
    ("azimuth_deg", "elevation_deg", "weight"),
    [
        (0, 0, 1.0),
        (30, 0, 1.0),
        (59.9, 0, 1.0),
        (60, 0, 1.41),
        (90, 0, 1.41),
        (110, 0, 1.41),
        (120, 0, 1.41),
        (120.1, 0, 1.0),
        (135, 0, 1.0),
        (180, 0, 1.0),
        (90, 29.9, 1.41),
        (90, -29.9, 1.41),
        (90, 30, 1.0),
        (90, -30, 1.0),
        (110, 45, 1.0),
        (0, 90, 1.0),
        (45, 30, 1.0),
    ],
)
def test_annex_3_by_angle(sign, azimuth_deg, elevation_deg, weight):
    """Annex 3: +1.5 dB for 60° ≤ |azimuth| ≤ 120° and |elevation| < 30°, 0 dB elsewhere."""
    assert weight == annex3_weight(sign * azimuth_deg, elevation_deg)


@pytest.mark.parametrize(
    ("azimuth_deg", "weight"),
    [(240, 1.41), (239.9, 1.0), (250, 1.41), (300, 1.41), (300.1, 1.0), (470, 1.41), (-250, 1.41)],
)
def test_azimuths_wrap_round(azimuth_deg, weight):
    """An azimuth counted all the way round means the same place: 250° is −110°."""
    assert weight == annex3_weight(azimuth_deg, 0.0)
