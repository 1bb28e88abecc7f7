"""What a pass on record gives to a run that goes on with it."""

from datetime import UTC, datetime

import numpy as np
import pytest
from known_signal import ABOUT

from sidecar.journal.record import Cut, FaderReport, Record, StemBalance, Summary
from sidecar.journal.resume import resumable
from sidecar.model.readings import Reading


def record(place, *, blocks, names=(), stems=None, cuts=(), told=(), faders=None):
    """A record that holds the blocks *place* of so many; their energies are their numbers from 1."""
    places = np.array(place)
    levels = (-30.0 + places).astype(np.float32)
    about = type(ABOUT)("source", 48_000, "stereo", ABOUT.goal, names)
    summary = Summary(1, about, "0", datetime(2026, 1, 1, tzinfo=UTC), None, blocks, 0, 0, Reading(), 1)
    faders_db = np.array(faders or [-2.0] * len(places), np.float32)
    return Record(summary, places, places + 1.0, levels, faders_db, levels, levels, stems, cuts, (), told)


def test_a_whole_record_gives_what_was_heard():
    """Nothing is added, and a cut at the very end is none: nothing follows it."""
    found = resumable(record(range(5), blocks=5, cuts=(Cut(2, 480), Cut(5))))

    assert found.energies.tolist() == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert found.true_peak.tolist() == [-30.0, -29.0, -28.0, -27.0, -26.0]
    assert found.cuts == (2,)
    assert found.fader.gains_db(0, 5).tolist() == [-2.0] * 5


def test_a_missing_stretch_is_silent_and_cut_off_at_either_end():
    """It counts for nothing, and what comes after keeps its place."""
    found = resumable(record([0, 1, 4, 5], blocks=7))

    assert found.energies.tolist() == [1.0, 2.0, 0.0, 0.0, 5.0, 6.0, 0.0]
    assert found.cuts == (2, 4, 6)
    assert np.isneginf(found.true_peak[[2, 3, 6]]).all()
    assert np.isneginf(found.history.short_term[[2, 3, 6]]).all()
    assert found.history.integrated.tolist() == [-30.0, -29.0, -29.0, -29.0, -26.0, -25.0, -25.0]
    assert [pytest.approx(k / 10) for k in range(1, 8)] == found.history.seconds.tolist()


def test_a_record_that_misses_its_beginning_begins_with_silence():
    """What was heard keeps its place there too."""
    found = resumable(record([2, 3], blocks=4))

    assert found.energies.tolist() == [0.0, 0.0, 3.0, 4.0]
    assert found.cuts == (2,)
    assert np.isneginf(found.history.integrated[:2]).all()


def test_the_first_word_on_the_fader_counts_for_the_past():
    """A first report at 0.3 s of -6 dB counts for the past, but for the move reported before."""
    found = resumable(
        record(
            range(6),
            blocks=6,
            told=(FaderReport(0.1, 2.0, False), FaderReport(0.3, -6.0, True), FaderReport(0.5, -3.0, True)),
        )
    )

    assert found.fader.gains_db(0, 6).tolist() == [-8.0, -6.0, -6.0, -6.0, -6.0, -3.0]


def test_a_fader_that_the_source_knows_is_read_from_its_blocks():
    """From 0 dB down and closed; a stretch that is missing keeps the position before it."""
    found = resumable(record([0, 1, 4, 5], blocks=6, faders=[0.0, -3.0, -3.0, -np.inf]))

    assert [0.0, -3.0, -3.0, -3.0, -3.0, -np.inf] == found.fader.gains_db(0, 6).tolist()
    assert found.fader.is_absolute


def test_a_fader_that_nobody_knows_stays_unknown():
    """The first feedback in the run that goes on will still count for the past."""
    found = resumable(record(range(3), blocks=3, faders=[0.0, 0.0, 0.0]))

    assert not found.fader.is_absolute


def test_the_first_word_on_a_stems_fader_counts_for_its_past():
    """Blocks that were taken in as if it stood at 0 dB are put right; other stems are left alone."""
    stems = StemBalance(
        np.ones((4, 2, 2)), np.zeros((4, 2)), np.array([[0, 0], [0, 0], [-6, 0], [-6, 0]], np.float32)
    )
    told = (
        FaderReport(0.2, -6.0, True, "voice"),
        FaderReport(0.2, 5.0, True, ""),
        FaderReport(0.3, -np.inf, True, "music"),
    )
    found = resumable(record(range(4), blocks=4, names=("voice", "music"), stems=stems, told=told))

    assert found.stems.fader_db[:, 0].tolist() == [-6.0] * 4
    assert found.stems.fader_db[:, 1].tolist() == [0.0] * 4
    assert found.reported_stems == {"voice"}


def test_stems_keep_their_places_around_a_missing_stretch():
    """Products of 0 there: silence."""
    stems = StemBalance(np.ones((2, 1, 1)), np.zeros((2, 1)), np.zeros((2, 1)))
    found = resumable(record([0, 2], blocks=3, names=("voice",), stems=stems))

    assert found.stems.covariance[:, 0, 0].tolist() == [1.0, 0.0, 1.0]
    assert np.isneginf(found.stems.true_peak[1])
