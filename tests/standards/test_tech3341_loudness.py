"""EBU Tech 3341 V4, Table 1 (§2.9), rows 1–6 and 9–14: momentary, short-term and integrated loudness.

Rows 7 and 8 are recordings of the EBU's own set and cannot be built from a description.
"""

import pytest
from ebu_signals import (
    INTEGRATED_ROWS,
    MOMENTARY_ROW_12,
    RATES_HZ,
    SHORT_TERM_ROW_9,
    Segments,
    layout_of,
    tones,
)
from playing import read_file, read_live, read_live_at_the_end

pytestmark = pytest.mark.parametrize("rate_hz", RATES_HZ)

TOLERANCE_LU = 0.1

rows_3_to_6 = pytest.mark.parametrize("row", INTEGRATED_ROWS, ids=lambda row: f"row-{row}")


def near(expected):
    return pytest.approx(expected, abs=TOLERANCE_LU)


@pytest.mark.parametrize(
    ("level", "expected"), [pytest.param(-23.0, -23.0, id="row-1"), pytest.param(-33.0, -33.0, id="row-2")]
)
def test_a_steady_tone_reads_its_level_three_times(rate_hz, level, expected):
    """Rows 1 and 2, file and live: M, S and I of a steady stereo tone equal its peak level."""
    live = read_live_at_the_end(tones(rate_hz, [(20, level)]), rate_hz)
    file = read_file(tones(rate_hz, [(20, level)]), rate_hz)

    for reading in (file, live):
        assert near(expected) == reading.momentary
        assert near(expected) == reading.short_term
        assert near(expected) == reading.integrated


@pytest.mark.slow
@rows_3_to_6
def test_a_file_is_gated_and_weighted(rate_hz, row):
    """Rows 3–6 as files: both gates and the channel weights leave I at −23.0 LUFS."""
    layout, channels = layout_of(row)

    reading = read_file(tones(rate_hz, INTEGRATED_ROWS[row], channels), rate_hz, layout)

    assert near(-23.0) == reading.integrated


@pytest.mark.slow
@rows_3_to_6
def test_a_live_programme_is_gated_and_weighted(rate_hz, row):
    """Rows 3–6 live: I is at −23.0 LUFS when the last odd block has come in."""
    layout, channels = layout_of(row)

    reading = read_live_at_the_end(tones(rate_hz, INTEGRATED_ROWS[row], channels), rate_hz, layout)

    assert near(-23.0) == reading.integrated


def test_short_term_stands_still(rate_hz):
    """Row 9: S is −23.0 LUFS and constant from 3 s on, at every reading."""
    readings = list(read_live(tones(rate_hz, SHORT_TERM_ROW_9), rate_hz))

    settled = [reading.short_term for seconds, reading in readings if seconds >= 3.0]
    assert len(settled) > 300
    assert near(-23.0) == min(settled)
    assert near(-23.0) == max(settled)


def test_momentary_stands_still(rate_hz):
    """Row 12: M is −23.0 LUFS and constant from 1 s on, at every reading."""
    readings = list(read_live(tones(rate_hz, MOMENTARY_ROW_12), rate_hz))

    settled = [reading.momentary for seconds, reading in readings if seconds >= 1.0]
    assert len(settled) > 250
    assert near(-23.0) == min(settled)
    assert near(-23.0) == max(settled)


@pytest.mark.slow
def test_files_read_one_max_short_term_wherever_the_tone_starts(rate_hz):
    """Row 10: max S of 20 files, the 3 s tone 150 ms later in each, is −23.0 LUFS."""
    maxima = [
        read_file(tones(rate_hz, [(i * 0.15, None), (3, -23.0), (1, None)]), rate_hz).max_short_term
        for i in range(20)
    ]

    assert [near(-23.0)] * 20 == maxima


def test_files_read_one_max_momentary_wherever_the_tone_starts(rate_hz):
    """Row 13: max M of 20 files, the 400 ms tone 20 ms later in each, is −23.0 LUFS."""
    maxima = [
        read_file(tones(rate_hz, [(i * 0.02, None), (0.4, -23.0), (1, None)]), rate_hz).max_momentary
        for i in range(20)
    ]

    assert [near(-23.0)] * 20 == maxima


def maxima_in_turn(rate_hz, length_s, shift_s, lead_s, field):
    """The maximum after each of the 20 tones of rows 11 and 14, which rise by 1 dB each."""
    segments: Segments = [(lead_s, None)]
    for i in range(20):
        segments += [(i * shift_s, None), (length_s, -38.0 + i), (length_s - i * shift_s, None)]
    last_readings: dict[int, float] = {}
    for seconds, reading in read_live(tones(rate_hz, segments), rate_hz):
        last_readings[int((seconds - lead_s - 1e-6) / (2 * length_s))] = getattr(reading, field)
    return [last_readings[i] for i in range(20)]


@pytest.mark.slow
def test_live_max_short_term_in_turn(rate_hz):
    """Row 11: live max S is −38.0, −37.0 … −19.0 LUFS in turn, the tones off the grid of the blocks."""
    maxima = maxima_in_turn(rate_hz, 3.0, 0.15, 0.0, "max_short_term")

    assert [near(-38.0 + i) for i in range(20)] == maxima


@pytest.mark.parametrize("lead_s", [0.0, 0.005], ids=["on-the-grid", "half-a-step-off"])
def test_live_max_momentary_in_turn(rate_hz, lead_s):
    """Row 14: live max M is −38.0, −37.0 … −19.0 LUFS in turn, and does not lean on when it was started."""
    maxima = maxima_in_turn(rate_hz, 0.4, 0.02, lead_s, "max_momentary")

    assert [near(-38.0 + i) for i in range(20)] == maxima


def test_line_up(rate_hz):
    """§2.9: a 1 kHz in-phase stereo line-up tone of −18 dBFS reads −18.0 LUFS."""
    reading = read_file(tones(rate_hz, [(5, -18.0)]), rate_hz)

    assert near(-18.0) == reading.momentary
    assert near(-18.0) == reading.short_term
    assert near(-18.0) == reading.integrated
