"""EBU Tech 3341 V4 §2.1, §2.2, §2.4: pause, continue, reset, and the flag of the first minute."""

import dataclasses
import math

import numpy as np
import pytest
from ebu_signals import RATES_HZ, faded, live, sine, tones

from sidecar.meter import Meter
from sidecar.model.readings import Reading

pytestmark = pytest.mark.parametrize("rate_hz", RATES_HZ)

SILENT = (-math.inf, -math.inf)


@pytest.fixture
def meter(rate_hz):
    return Meter(sample_rate=rate_hz, layout="stereo")


@pytest.fixture
def play(meter, rate_hz):
    """Plays tones to the meter as a live signal."""

    def to_meter(*segments):
        for block in live(tones(rate_hz, list(segments)), rate_hz):
            meter.push(block)

    return to_meter


def test_a_pause_freezes_programme_loudness_and_range_together(meter, play):
    """§2.2: while paused I and LRA do not change, whatever plays."""
    play((6, -23.0), (6, -30.0))
    before = meter.reading()
    meter.pause()
    play((6, -10.0))
    paused = meter.reading()

    assert before.integrated == paused.integrated
    assert before.loudness_range == paused.loudness_range
    assert before.seconds == paused.seconds


def test_momentary_and_short_term_go_on_during_a_pause(meter, play):
    """§2.2 lets a pause stop I and LRA only: M and S still show what plays."""
    play((4, -23.0))
    meter.pause()
    play((4, -33.0))

    assert meter.reading().momentary == pytest.approx(-33.0, abs=0.1)
    assert meter.reading().short_term == pytest.approx(-33.0, abs=0.1)


def test_what_played_in_a_pause_never_counts(meter, play):
    """§2.2, §2.4: after continue, I and LRA are those of the programme without what the pause hid."""
    play((10, -23.0))
    meter.pause()
    play((10.03, -9.0))
    meter.resume()
    play((10, -23.0))
    reading = meter.reading()

    assert reading.integrated == pytest.approx(-23.0, abs=0.1)
    assert reading.loudness_range == pytest.approx(0.0, abs=0.1)
    assert reading.seconds == pytest.approx(20.0, abs=0.5)


def test_both_parts_around_a_pause_count(meter, play):
    """§2.2: continue goes on with the same measurement, it does not begin a new one."""
    play((20, -26.0), (10, -20.0))
    meter.pause()
    play((2, None))
    meter.resume()
    play((10.1, -20.0), (20, -26.0))

    assert meter.reading().integrated == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("state", ["running", "paused"])
def test_reset_clears_all_that_is_kept(meter, play, state, rate_hz):
    """§2.1, §2.2: reset clears I, LRA, max M, max S and the peaks together, running or paused."""
    play((4, -10.0), (4, -20.0))
    if state == "paused":
        meter.pause()
    meter.reset()
    reading = meter.reading()

    expected = Reading(
        momentary=reading.momentary,  # what M and S show next is left open: they are not kept
        short_term=reading.short_term,
        true_peak=SILENT,
        held_peak=SILENT,
        channel_peak=SILENT,
    )
    assert reading == expected


def test_reset_before_each_row_is_as_good_as_a_new_meter(meter, play):
    """§2.9 asks for a reset before each test: nothing loud from before it may show in the next one."""
    play((5, -3.0))
    meter.reset()
    play((5, -33.0))
    reading = meter.reading()

    assert reading.integrated == pytest.approx(-33.0, abs=0.1)
    assert reading.max_momentary == pytest.approx(-33.0, abs=0.1)
    assert reading.max_short_term == pytest.approx(-33.0, abs=0.1)
    assert reading.loudness_range == pytest.approx(0.0, abs=0.1)
    assert reading.max_true_peak == pytest.approx(-33.0, abs=0.2)


def test_a_reset_forgets_a_peak_that_was_still_being_interpolated(meter, rate_hz):
    """§2.1: a peak pushed just before a reset is not found just after it."""
    samples = faded(sine(rate_hz, rate_hz / 8, 0.1), rate_hz)
    meter.push(np.column_stack([samples, samples])[: rate_hz // 20])
    meter.reset()
    meter.push(np.zeros((rate_hz // 20, 2)))

    silence_dbtp = -math.inf
    assert silence_dbtp == meter.reading().max_true_peak


def test_nothing_pushed_reads_nothing(meter):
    """§2.8 leaves open what shows before valid data: here it is silence, one true peak a channel."""
    expected = Reading(true_peak=SILENT, held_peak=SILENT, channel_peak=SILENT)

    assert meter.reading() == expected


@pytest.mark.slow
def test_the_loudness_range_of_the_first_minute_is_flagged(meter, play):
    """§2.4: LRA is flagged as not yet stable for the first 60 s of programme, pauses not counted."""
    play((50, -23.0))
    meter.pause()
    play((20, -23.0))
    paused = meter.reading()
    meter.resume()
    play((9, -23.0))
    early = meter.reading()
    play((1.5, -23.0))
    late = meter.reading()

    expected = [False, False, True]
    assert [reading.range_is_stable for reading in (paused, early, late)] == expected


def test_a_reading_is_a_snapshot(meter, play):
    """Reading never moves the measurement: two in a row are equal and the first does not change later."""
    play((3.3, -23.0))
    first = meter.reading()
    kept = dataclasses.replace(first)
    second = meter.reading()
    play((3.3, -13.0))

    assert first == second
    assert kept == first
