"""A meter that goes on with a programme from its blocks, against the published definitions.

BS.1770-5 Annex 1 and Tech 3342 are computed by scipy on the pieces before and after the break; a window
that reaches across it is no part of the programme.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from sidecar.meter import Meter
from sidecar.meter.weighting import k_weighting
from sidecar.model.readings import Reading

RATE_HZ = 8_000
PROGRAMME_S = 14


def programme(seed, rate_hz=RATE_HZ):
    """Noise whose level moves by 30 dB in pieces of a second, with silence in it; shape (n, 2)."""
    random = np.random.default_rng(seed)
    level_db = np.repeat(random.uniform(-50.0, -20.0, PROGRAMME_S), rate_hz)
    level_db[random.integers(0, PROGRAMME_S) * rate_hz :][:rate_hz] = -200.0
    return (10 ** (level_db / 20))[:, None] * random.standard_normal((level_db.size, 2))


def windows(frames, rate_hz, hops):
    """Mean squares of all windows of so many 100 ms hops in one piece that was measured from silence on."""
    power = (signal.sosfilt(k_weighting(rate_hz), frames, axis=0) ** 2).sum(axis=1)
    marks = np.rint(np.arange(len(frames) * 10 // rate_hz + 1) * rate_hz / 10).astype(int)
    sums = np.concatenate([[0.0], np.cumsum(power)])[marks]
    return (sums[hops:] - sums[:-hops]) / (marks[hops:] - marks[:-hops])


def lufs(mean_square):
    return -0.691 + 10 * np.log10(mean_square)


def integrated(pieces, rate_hz):
    blocks = np.concatenate([windows(piece, rate_hz, 4) for piece in pieces if len(piece) >= 0.4 * rate_hz])
    blocks = blocks[lufs(blocks + 1e-30) > -70.0]
    return lufs(blocks[blocks > blocks.mean() / 10].mean())


def loudness_range(pieces, rate_hz):
    values = np.concatenate([windows(piece, rate_hz, 30) for piece in pieces if len(piece) >= 3 * rate_hz])
    values = values[lufs(values + 1e-30) >= -70.0]
    kept = np.sort(lufs(values[values >= values.mean() / 100]))
    ranks = [int((len(kept) - 1) * percent / 100 + 0.5) for percent in (10, 95)]
    return kept[ranks[1]] - kept[ranks[0]]


def broken_off(frames, places, rate_hz=RATE_HZ):
    """A meter that went on from its blocks and its last reading after each of these frames."""
    meter = Meter(rate_hz, "stereo")
    energies, cuts = np.empty(0), []
    for piece in np.split(frames, places):
        meter.push(piece)
        energies = np.concatenate([energies, meter.take_blocks().energy])
        last, meter = meter.reading(), Meter(rate_hz, "stereo")
        meter.restore(energies, last, cuts)
        cuts.append(len(energies))
    return meter


@pytest.mark.slow
@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.integers(0, 10_000), st.integers(1, PROGRAMME_S * 10 - 1))
def test_a_programme_goes_on_from_its_blocks(seed, block):
    """Broken off behind any block: integrated and range are the definition's for both pieces together."""
    frames = programme(seed)
    place = block * RATE_HZ // 10
    reading = broken_off(frames, [place]).reading()
    pieces = np.split(frames, [place])

    assert reading.integrated == pytest.approx(integrated(pieces, RATE_HZ), abs=1e-6)
    assert reading.loudness_range == pytest.approx(loudness_range(pieces, RATE_HZ), abs=0.011)
    assert reading.seconds == PROGRAMME_S


@pytest.mark.parametrize("rate_hz", [11_025, 44_100, 48_000])
def test_breaking_off_twice_is_cutting_twice(rate_hz):
    """The same reading as that of one meter that was cut where the others broke off, in mid-block too."""
    frames = programme(3, rate_hz)
    places = [round(3.3 * rate_hz), round(8.042 * rate_hz)]
    spliced = Meter(rate_hz, "stereo")
    for piece in np.split(frames, places):
        spliced.push(piece)
        spliced.splice()
    once, twice = spliced.reading(), broken_off(frames, places, rate_hz).reading()

    assert twice.integrated == pytest.approx(once.integrated, abs=1e-9)
    assert twice.loudness_range == pytest.approx(once.loudness_range, abs=0.0051)
    for name in ("max_momentary", "max_short_term", "sample_peak", "seconds", "true_peak"):
        assert getattr(twice, name) == pytest.approx(getattr(once, name), abs=1e-5), name


def test_maxima_of_before_stand_until_they_are_passed():
    """Peaks, maxima and counts are those last read; a louder passage raises them."""
    last = Reading(
        max_momentary=-20.0,
        max_short_term=-22.0,
        true_peak=(-3.0, -9.0),
        max_true_peak=-3.0,
        sample_peak=-3.5,
        seconds=5.0,
        bad_samples=7,
    )
    meter = Meter(RATE_HZ, "stereo")
    meter.restore(np.full(50, 1e-4), last)
    at_once = meter.reading()
    meter.push(
        np.tile([0.25, -0.25], (RATE_HZ * 4, 1)) * np.random.default_rng(1).choice([-1, 1], (RATE_HZ * 4, 1))
    )
    later = meter.reading()

    assert at_once.true_peak == pytest.approx((-3.0, -9.0), abs=1e-5)
    assert (-np.inf, -np.inf) == (at_once.momentary, at_once.short_term)
    for name in ("max_momentary", "max_short_term", "sample_peak", "seconds", "bad_samples"):
        assert getattr(at_once, name) == pytest.approx(getattr(last, name), abs=1e-5), name
    assert later.max_momentary > -20.0 and later.max_short_term > -22.0
    assert later.sample_peak == pytest.approx(-3.5, abs=1e-5)
    assert 5.0 < meter.max_momentary_at_s <= 9.0
    assert later.seconds == 9.0


def test_nothing_on_record_is_a_new_programme():
    """No blocks and an empty reading: what follows is read as by a new meter."""
    frames = programme(5)
    meter, fresh = Meter(RATE_HZ, "stereo"), Meter(RATE_HZ, "stereo")
    meter.restore(np.empty(0), fresh.reading())
    for each in (meter, fresh):
        each.push(frames)

    assert fresh.reading().integrated == meter.reading().integrated
    assert fresh.reading().true_peak == meter.reading().true_peak
