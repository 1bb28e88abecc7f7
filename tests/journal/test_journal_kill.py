"""A measuring process is killed at twelve random moments: what is on record then."""

import numpy as np
import pytest
from kill_yard import integrated_of, kill_at, range_of
from known_signal import RATE_HZ, Measuring

from sidecar.journal.resume import resumable
from sidecar.meter import Meter

MOMENTS_S = np.random.default_rng(20).uniform(0.2, 3.2, 12)


@pytest.fixture(scope="module")
def left(tmp_path_factory):
    return kill_at(tmp_path_factory.mktemp("killed"), MOMENTS_S)


@pytest.fixture(scope="module")
def undisturbed(left):
    """The same programme, as far as the longest record goes."""
    return Measuring().go_on(max(one.handed for one in left))


@pytest.fixture
def records(left):
    """Of those that lived for at least one write."""
    return [one.record for one in left if one.record is not None]


def test_no_file_is_damaged(left):
    """SQLite's own check finds nothing, whenever the kill came."""
    assert ["ok"] * len(MOMENTS_S) == [one.integrity for one in left]


def test_nothing_is_lost_that_a_finished_write_had_taken(left):
    """At most what was heard since the last write is gone, and writes are half a second apart."""
    assert any(one.record for one in left)
    for one in left:
        blocks = one.record.summary.blocks if one.record else 0
        assert one.written <= blocks <= one.handed


def test_the_record_is_the_undisturbed_programme_up_to_there(records, undisturbed):
    """Energies and the reading at the end are bit for bit those of a run that was not killed."""
    for record in records:
        blocks = record.summary.blocks
        assert undisturbed.energies[:blocks] == record.energy.tolist()
        assert undisturbed.readings[blocks - 1] == record.summary.reading
        assert record.missing == ()
        assert record.summary.ended is None


def test_integrated_and_range_follow_from_what_is_on_record(records, undisturbed):
    """Computed anew from the energies (BS.1770-5 Annex 1, Tech 3342 §5), they are what the meter read.

    The meter sorts the range into bins of 0.005 LU.
    """
    for record in records:
        found = resumable(record)
        expected = undisturbed.readings[record.summary.blocks - 1]
        assert integrated_of(found.energies, found.cuts) == pytest.approx(expected.integrated, abs=1e-9)
        assert range_of(found.energies, found.cuts) == pytest.approx(expected.loudness_range, abs=0.01)


def test_a_meter_that_goes_on_reads_what_it_read(records, undisturbed):
    """Integrated, range, maxima and peaks of the resumed run are those of the undisturbed one there."""
    for record in records:
        found = resumable(record)
        expected = undisturbed.readings[record.summary.blocks - 1]
        meter = Meter(RATE_HZ, "stereo")
        meter.restore(found.energies, found.reading, found.cuts)
        reading = meter.reading()
        assert reading.integrated == pytest.approx(expected.integrated, abs=1e-9)
        assert reading.loudness_range == pytest.approx(expected.loudness_range, abs=1e-9)
        assert reading.max_momentary == pytest.approx(expected.max_momentary, abs=1e-9)
        assert reading.max_short_term == pytest.approx(expected.max_short_term, abs=1e-9)
        assert reading.true_peak == pytest.approx(expected.true_peak, abs=1e-9)
        assert reading.sample_peak == pytest.approx(expected.sample_peak, abs=1e-9)
        assert expected.seconds == reading.seconds
