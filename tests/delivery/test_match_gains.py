"""Gains for a set of files, on figures worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest

from sidecar.delivery.match.gains import (
    Piece,
    dynamics,
    limit_sentence,
    match_sequence,
    match_singly,
    peak_sentence,
    signed,
)
from sidecar.loudness.gating import Powers
from sidecar.model.readings import SILENCE, Reading, mean_square
from sidecar.settings.goals import load_goal

R128 = load_goal("r128")
SHORT_FORM = load_goal("r128-s1")
QUIET = Reading(integrated=-30.0, max_true_peak=-12.0, max_short_term=-28.0, max_momentary=-26.0)
LOUD = Reading(integrated=-18.0, max_true_peak=-2.0, max_short_term=-15.0, max_momentary=-13.0)
SILENT = Reading()


def pieces(*readings):
    """Programmes of one even loudness."""
    return [Piece(one, Powers(np.full(100, mean_square(one.integrated)))) for one in readings]


def gains(levels):
    return [level.gain_db if level else None for level in levels]


def test_each_by_itself_comes_to_the_target():
    """Tech 3343 §3.1: one static gain, target minus loudness; silence has none."""
    levels = match_singly(pieces(QUIET, SILENT, LOUD), R128, -23.0)

    assert [7.0, None, -5.0] == gains(levels)
    assert pytest.approx([-23.0, -23.0]) == [level.landing for level in levels if level]
    assert [-5.0, -7.0] == [level.true_peak for level in levels if level]


def test_a_sequence_has_one_gain_and_its_loudest_lands_on_the_target():
    """The balance between the pieces stays, and a silent one goes along."""
    levels = match_sequence(pieces(QUIET, SILENT, LOUD), R128, -23.0)

    assert [-5.0, -5.0, -5.0] == gains(levels)
    assert pytest.approx([-35.0, SILENCE, -23.0]) == [level.landing for level in levels]


def test_a_sequence_of_silence_has_no_gain():
    """There is nothing to bring anywhere."""
    assert [None, None] == match_sequence(pieces(SILENT, SILENT), R128, -23.0)


def test_a_gain_that_carries_blocks_across_the_gate_still_lands_on_the_target():
    """BS.1770-5 Annex 1: 10 blocks at −20, 100 at −42 and 1000 at −69 LUFS read −30.15 LUFS. A dB down puts
    the −69 under the gate, the mean of the rest lifts the relative gate over the −42, and the programme
    reads as its loudest part: −31.5 LUFS takes −11.5 dB, where target minus loudness would miss by 10 LU."""
    levels = np.repeat([-20.0, -42.0, -69.0], [10, 100, 1000])
    powers = Powers(np.array([mean_square(level) for level in levels]))
    (level,) = match_singly([Piece(replace(QUIET, integrated=-30.15), powers)], R128, -31.5)

    assert -11.5 == level.gain_db
    assert pytest.approx(-31.5, abs=0.001) == level.landing


def test_an_upward_gain_stops_at_the_ceiling():
    """7 dB are wanted, 3 dB are free under −1 dBTP: 4 dB must come off the peaks."""
    (level,) = match_singly(pieces(replace(QUIET, max_true_peak=-4.0)), R128, -23.0)

    assert (3.0, 7.0, "ceiling", 4.0) == (level.gain_db, level.wanted_db, level.limited_by, level.over_db)
    assert pytest.approx((-27.0, -1.0)) == (level.landing, level.true_peak)
    assert (
        "+7.00 dB would reach −23.0 LUFS, but the true peak of a.wav leaves +3.00 dB under the ceiling of "
        "−1.0 dBTP. Bring the peaks down by 4.0 dB first to reach it."
    ) == limit_sentence(level, R128, -23.0, "a.wav")


def test_peaks_over_the_ceiling_leave_no_room_at_all():
    """A wish for more never becomes a gain downwards: 7 dB up from +0.5 dBTP would be 8.5 dB over."""
    (level,) = match_singly(pieces(replace(QUIET, max_true_peak=0.5)), R128, -23.0)

    assert (0.0, "ceiling", 8.5) == (level.gain_db, level.limited_by, level.over_db)
    assert "leaves no room under" in limit_sentence(level, R128, -23.0, "a.wav")
    assert "1.5 dB over the ceiling" in peak_sentence(level, R128)


def test_a_downward_gain_is_never_limited():
    """Loudness comes first; a peak that is still over is told."""
    (level,) = match_singly(pieces(replace(LOUD, max_true_peak=6.0)), R128, -23.0)

    assert (-5.0, None, 1.0) == (level.gain_db, level.limited_by, level.true_peak)
    assert "Its true peak stands at 1.0 dBTP then, 2.0 dB over the ceiling of −1.0 dBTP." == peak_sentence(
        level, R128
    )
    assert "" == limit_sentence(level, R128, -23.0, "a.wav")


def test_a_sequence_is_held_by_the_piece_with_the_highest_peak():
    """Not by the loudest one: the quiet one's peak leaves 1.5 dB where 4 dB are wanted."""
    set_of_two = [replace(QUIET, max_true_peak=-2.5), replace(LOUD, integrated=-27.0, max_true_peak=-9.0)]
    levels = match_sequence(pieces(*set_of_two), R128, -23.0)

    assert [1.5, 1.5] == gains(levels)
    assert [("ceiling", 0), ("ceiling", 0)] == [(level.limited_by, level.limiting) for level in levels]


def test_other_limits_of_a_goal_hold_too():
    """R 128 s1: short-term at most −18.0 LUFS (Tech 3343 §9.1); −22 leaves 4 dB where 7 are wanted."""
    (level,) = match_singly(pieces(replace(QUIET, max_short_term=-22.0)), SHORT_FORM, -23.0)

    assert (4.0, "short-term", 3.0) == (level.gain_db, level.limited_by, level.over_db)
    sentence = limit_sentence(level, SHORT_FORM, -23.0, "a.wav")
    assert (
        "the highest short-term loudness of a.wav leaves +4.00 dB under the limit of −18.0 LUFS" in sentence
    )
    assert "Bring the loudest passages down by 3.0 dB" in sentence


def test_gains_are_whole_hundredths_and_limits_are_rounded_to_the_safe_side():
    """What is shown is what is done; a limit is never passed by rounding."""
    (free,) = match_singly(pieces(replace(QUIET, integrated=-30.006)), R128, -23.0)
    (held,) = match_singly(pieces(replace(QUIET, max_true_peak=-4.0049)), R128, -23.0)
    (exact,) = match_singly(pieces(replace(QUIET, max_true_peak=-4.01)), R128, -23.0)

    assert [7.01, 3.0, 3.01] == [free.gain_db, held.gain_db, exact.gain_db]
    assert held.true_peak <= -1.0


@pytest.mark.parametrize(
    ("gain_db", "text"), [(1.5, "+1.50"), (-0.256, "−0.26"), (0.0, "0.00"), (-0.0, "0.00")]
)
def test_gains_show_their_sign_and_zero_has_none(gain_db, text):
    """A printed minus, never a minus zero."""
    assert text == signed(gain_db)


def test_different_dynamics_are_told_where_the_range_means_something():
    """R 128 V5 n) note 2: a range of less than a minute says nothing."""
    narrow = replace(LOUD, loudness_range=3.0, range_is_stable=True)
    wide = replace(QUIET, loudness_range=15.0, range_is_stable=True)

    assert "from 3.0 to 15.0 LU: at −23.0 LUFS" in dynamics([narrow, wide], "−23.0 LUFS")
    assert "" == dynamics([narrow, replace(wide, range_is_stable=False)], "−23.0 LUFS")
    assert "" == dynamics([narrow, replace(wide, loudness_range=7.9)], "−23.0 LUFS")
    assert "" == dynamics([], "−23.0 LUFS")
