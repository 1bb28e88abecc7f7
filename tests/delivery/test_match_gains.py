"""Gains for a set of files, on figures worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile

from sidecar.cli.results.match_sentences import dynamics
from sidecar.delivery.match.gains import (
    Piece,
    as_loud_as,
    match_sequence,
    match_singly,
    programme,
    signed,
    together,
)
from sidecar.delivery.measure.whole_file import measure
from sidecar.loudness.gating import Powers
from sidecar.model.readings import SILENCE, Reading
from sidecar.model.units import mean_square
from sidecar.settings.goals import load_goal

R128 = load_goal("r128")
SHORT_FORM = load_goal("r128-s1")
ALBUM = load_goal("aes-album")  # at most -14 LUFS: nothing is too quiet for it
QUIET = Reading(integrated=-30.0, max_true_peak=-12.0, max_short_term=-28.0, max_momentary=-26.0)
LOUD = Reading(integrated=-18.0, max_true_peak=-2.0, max_short_term=-15.0, max_momentary=-13.0)
SILENT = Reading()


def pieces(*readings):
    """Programmes of one even loudness."""
    return [piece(one, np.full(100, mean_square(one.integrated))) for one in readings]


def piece(reading, powers):
    return Piece(reading, Powers(powers), powers)


def gains(levels):
    return [level.gain_db if level else None for level in levels]


def test_each_by_itself_comes_to_the_target():
    """Tech 3343 §3.1: one static gain, target minus loudness; silence has none."""
    levels = match_singly(pieces(QUIET, SILENT, LOUD), [R128])

    assert gains(levels) == [7.0, None, -5.0]
    assert [level.landing for level in levels if level] == pytest.approx([-23.0, -23.0])
    assert [level.true_peak for level in levels if level] == [-5.0, -7.0]
    assert [level.broken for level in levels if level] == [(), ()]


def test_a_gain_that_carries_blocks_across_the_gate_still_lands_on_the_target():
    """BS.1770-5 Annex 1: 10 blocks at −20, 100 at −42 and 1000 at −69 LUFS read −30.15 LUFS. A dB down puts
    the −69 under the gate, the mean of the rest lifts the relative gate over the −42, and the programme
    reads as its loudest part: −31.5 LUFS takes −11.5 dB, where target minus loudness would miss by 10 LU."""
    levels = np.repeat([-20.0, -42.0, -69.0], [10, 100, 1000])
    powers = np.array([mean_square(level) for level in levels])
    (level,) = match_singly([piece(replace(QUIET, integrated=-30.15), powers)], [as_loud_as(R128, -31.5)])

    assert level.gain_db == -11.5
    assert level.landing == pytest.approx(-31.5, abs=0.001)


def test_an_upward_gain_stops_at_the_ceiling():
    """7 dB are wanted, 3 dB are free under −1 dBTP: 4 dB must come off the peaks."""
    (level,) = match_singly(pieces(replace(QUIET, max_true_peak=-4.0)), [R128])

    assert (level.gain_db, level.wanted_db, level.limited_by, level.over_db) == (3.0, 7.0, "ceiling", 4.0)
    assert (level.landing, level.true_peak) == pytest.approx((-27.0, -1.0))
    assert level.broken == ("quiet",)


def test_what_no_gain_corrects_is_not_turned_down_for_its_peaks_alone():
    """As the remedy of a check: 7 dB up from +0.5 dBTP would be 8.5 dB over; down would only be quieter."""
    (level,) = match_singly(pieces(replace(QUIET, max_true_peak=0.5)), [R128])

    assert (level.gain_db, level.limited_by, level.over_db) == (0.0, "ceiling", 8.5)
    assert level.broken == ("quiet", "true peak")


@pytest.mark.parametrize(
    ("reading", "gain_db"),
    [
        (replace(LOUD, integrated=-14.0, max_true_peak=0.3), -1.3),  # on the target: down for its peak alone
        (replace(LOUD, integrated=-20.0, max_true_peak=0.3), -1.3),  # 6 dB are wanted, -1.3 dB pass
        (replace(LOUD, integrated=-13.0, max_true_peak=3.0), -4.0),  # -1 dB is wanted
        (replace(LOUD, integrated=-14.0, max_true_peak=-0.96), 0.0),  # shown as -1.0: it passes as it is
    ],
)
def test_peaks_turn_a_gain_down_where_the_goal_is_met_so(reading, gain_db):
    (level,) = match_singly(pieces(reading), [ALBUM])

    assert level.gain_db == gain_db
    assert level.broken == ()


def test_a_goal_with_latitude_is_met_below_its_target():
    """R 128 s2 passes from −20 to −16 LUFS: 1.4 dB under its −18 for the peak's sake."""
    (level,) = match_singly(
        pieces(replace(LOUD, integrated=-20.0, max_true_peak=-1.6)), [load_goal("r128-s2")]
    )

    assert (level.gain_db, level.limited_by, level.broken) == (0.6, "ceiling", ())


def test_other_limits_of_a_goal_hold_too():
    """R 128 s1: short-term at most −18.0 LUFS (Tech 3343 §9.1); −22 leaves 4 dB where 7 are wanted."""
    (level,) = match_singly(pieces(replace(QUIET, max_short_term=-22.0)), [SHORT_FORM])

    assert (level.gain_db, level.limited_by, level.over_db) == (4.0, "short-term", 3.0)


def test_every_goal_must_be_met_and_the_first_has_the_target():
    asked = [as_loud_as(R128, -18.0), R128]
    (level,) = match_singly(pieces(replace(QUIET, max_true_peak=-20.0)), asked)

    assert (level.gain_db, level.broken) == (12.0, ("loud",))


def test_damaged_audio_meets_nothing():
    (level,) = match_singly(pieces(replace(LOUD, integrated=-23.0, bad_samples=1)), [R128])

    assert "damage" in level.broken


def test_a_sequence_has_one_gain_and_its_loudest_lands_on_the_target():
    """The balance between the pieces stays, and a silent one goes along."""
    found = match_sequence(pieces(QUIET, SILENT, LOUD), [ALBUM])

    assert gains(found.levels) == [1.0, 1.0, 1.0]  # 4 dB are wanted, the loud one's peak leaves 1
    assert [level.landing for level in found.levels] == pytest.approx([-29.0, SILENCE, -17.0])
    assert [level.broken for level in found.levels] == [(), ("silent",), ()]


def test_a_sequence_of_silence_has_no_gain():
    assert match_sequence(pieces(SILENT, SILENT), [R128]).levels == [None, None]


def test_a_sequence_is_held_by_the_piece_with_the_highest_peak_and_turned_down_for_it():
    """Not by the loudest one: the quiet one's peak leaves −1.5 dB where 13 dB are wanted."""
    set_of_two = [replace(QUIET, max_true_peak=0.5), replace(LOUD, integrated=-27.0, max_true_peak=-9.0)]
    found = match_sequence(pieces(*set_of_two), [ALBUM])

    assert gains(found.levels) == [-1.5, -1.5]
    assert [(level.limited_by, level.limiting) for level in found.levels] == [("ceiling", 0), ("ceiling", 0)]
    assert [level.broken for level in found.levels] == [(), ()]


def test_the_gain_of_a_sequence_is_the_one_with_which_all_pass():
    """TR-B32 takes −24 ± 1 LUFS, as shown. The loudest would land on −24 with 0 dB, and the one 1.8 LU under
    it outside: with +0.75 dB both are inside, and little less does it (−25.05 is shown as −25.0 or −25.1)."""
    loud, quiet = replace(LOUD, integrated=-24.0, max_true_peak=-9), replace(QUIET, integrated=-25.8)
    found = match_sequence(pieces(loud, quiet), [load_goal("tr-b32")])

    assert gains(found.levels) == pytest.approx([0.75, 0.75], abs=0.011)
    assert [level.broken for level in found.levels] == [(), ()]
    assert found.conflict is None


def test_a_sequence_that_no_one_gain_serves_names_the_two_in_the_way():
    """−30 needs 6.75 dB to pass −23 ± 0.2 LUFS as shown, −18 allows −4.76 dB."""
    found = match_sequence(pieces(QUIET, LOUD, replace(QUIET, integrated=-25.0)), [R128])

    conflict = found.conflict
    assert (conflict.low, conflict.high) == (0, 1)
    assert (conflict.at_least_db, conflict.at_most_db) == pytest.approx((6.75, -4.75), abs=0.011)
    assert found.unable == ()


def test_a_piece_that_no_gain_serves_is_named_by_itself():
    found = match_sequence(pieces(replace(QUIET, max_true_peak=0.0), replace(LOUD, integrated=-23.0)), [R128])

    assert (found.unable, found.conflict) == ((0,), None)


def test_all_together_are_as_loud_as_the_one_that_reaches_least():
    """−30 with a peak of −12 reaches −19, −18 with −2 reaches −17; silence and damage have no say."""
    damaged = replace(QUIET, integrated=-60.0, max_true_peak=0.0, bad_samples=3)
    found = together(pieces(LOUD, QUIET, SILENT, damaged), [R128])

    assert (found.loudness, found.limiting, found.limited_by) == (-19.0, 1, "ceiling")
    assert together(pieces(SILENT), [R128]) is None


def test_gains_are_whole_hundredths_and_limits_are_rounded_to_the_safe_side():
    """What is shown is what is done; a limit is never passed by rounding."""
    (free,) = match_singly(pieces(replace(QUIET, integrated=-30.006)), [R128])
    (held,) = match_singly(pieces(replace(QUIET, max_true_peak=-4.0049)), [R128])
    (exact,) = match_singly(pieces(replace(QUIET, max_true_peak=-4.01)), [R128])

    assert [free.gain_db, held.gain_db, exact.gain_db] == [7.01, 3.0, 3.01]
    assert held.true_peak <= -1.0


@pytest.mark.slow
def test_a_set_reads_as_the_one_programme_that_its_tracks_make(tmp_path):
    """Against the meter on all tracks in one file: gates over all blocks, of which the quiet track's fall
    out. Tracks of whole 100 ms; at each join the filters settle once more."""
    rng = np.random.default_rng(3)
    tracks = [
        rng.standard_normal((48_000 * s, 2)) * 10 ** (db / 20) for s, db in ((20, -20), (30, -45), (25, -26))
    ]
    names = [tmp_path / f"{number}.wav" for number in range(len(tracks))]
    for name, frames in zip(names, tracks, strict=True):
        soundfile.write(name, frames, 48_000, subtype="FLOAT")
    gains_db = [-3.0, 4.0, 0.5]
    moved = [frames * 10 ** (gain / 20) for frames, gain in zip(tracks, gains_db, strict=True)]
    soundfile.write(tmp_path / "all.wav", np.concatenate(moved), 48_000, subtype="FLOAT")
    whole = measure(tmp_path / "all.wav").reading
    found = programme([Piece.of(measure(name)) for name in names], gains_db)

    assert found.integrated == pytest.approx(whole.integrated, abs=0.01)
    assert found.loudness_range == pytest.approx(whole.loudness_range, abs=0.1)
    assert found.max_true_peak == pytest.approx(whole.max_true_peak, abs=0.01)
    assert found.seconds == pytest.approx(whole.seconds, abs=0.001)


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
    assert dynamics([narrow, replace(wide, range_is_stable=False)], "−23.0 LUFS") == ""
    assert dynamics([narrow, replace(wide, loudness_range=7.9)], "−23.0 LUFS") == ""
    assert dynamics([], "−23.0 LUFS") == ""
