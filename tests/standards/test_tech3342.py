"""EBU Tech 3342 V4, Table 1 and §4: loudness range.

Rows 5 and 6 are the recordings of Tech 3341 rows 7 and 8 and cannot be built from a description.
"""

import pytest
from ebu_signals import RANGE_ROWS, RATES_HZ, range_segments, tones
from playing import read_file, read_live_at_the_end

from sidecar.meter import Meter

pytestmark = [
    pytest.mark.parametrize("rate_hz", RATES_HZ),
    pytest.mark.parametrize("row", RANGE_ROWS, ids=lambda row: f"row-{row}"),
]


def near(row):
    _, expected = RANGE_ROWS[row]
    return pytest.approx(expected, abs=1.0)


def test_loudness_range_of_a_file(rate_hz, row):
    """Rows 1–4: 20 s tones at the levels given have the loudness range of the table."""
    reading = read_file(tones(rate_hz, range_segments(row)), rate_hz)

    assert near(row) == reading.loudness_range


@pytest.mark.slow
def test_loudness_range_of_a_live_programme(rate_hz, row):
    """Rows 1–4 live: no silence follows, and the range is the same within the tolerance."""
    reading = read_live_at_the_end(tones(rate_hz, range_segments(row)), rate_hz)

    assert near(row) == reading.loudness_range


@pytest.mark.slow
def test_a_programme_repeated_whole_keeps_its_loudness_range(rate_hz, row):
    """§4: playing the whole signal twice changes nothing."""
    meter = Meter(sample_rate=rate_hz, layout="stereo")
    ranges = []
    for _ in range(2):
        for block in tones(rate_hz, range_segments(row)):
            meter.push(block)
        ranges.append(meter.reading().loudness_range)
    once, twice = ranges

    assert twice == pytest.approx(once, abs=0.05)
    assert near(row) == twice
