"""What passes, what fails, where, and the remedy, on figures worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made import FACTS, level_history, made

from sidecar.delivery.judge.verdict import findings_by_goal, judge
from sidecar.model.readings import SILENCE
from sidecar.model.units import figure
from sidecar.settings.goals import load_goal


def judged(goal="r128", history=None, **changes):
    return judge(made(history=history, **changes), load_goal(goal))


def sentences(verdict):
    return [finding.sentence for finding in verdict.findings]


def test_a_programme_on_target_passes_and_needs_no_gain():
    """Nothing is found and nothing is moved."""
    verdict = judged()

    assert (verdict.passes, verdict.findings, verdict.move_db) == (True, (), 0.0)


@pytest.mark.parametrize(
    ("integrated", "passes"), [(-22.8, True), (-22.76, True), (-22.74, False), (-23.2, True), (-23.26, False)]
)
def test_figures_are_judged_as_they_are_shown(integrated, passes):
    """R 128 i): ±0.2 LU; Tech 3341 §2.8: one decimal is shown, so −22.76 is −22.8 and passes."""
    assert passes == judged(integrated=integrated).passes


def test_a_quiet_programme_is_brought_up_by_one_static_gain():
    """Tech 3343 §3.1: target minus loudness; the peaks stay under the ceiling."""
    verdict = judged(integrated=-25.0, max_true_peak=-6.0)

    assert verdict.move_db == pytest.approx(2.0)
    assert sentences(verdict) == [
        "Too quiet: −25.0 LUFS is 1.8 LU under the lowest that passes, −23.2 LUFS.",
        "A gain of +2.0 dB brings it to −23.0 LUFS with peaks at −4.0 dBTP.",
    ]


def test_a_gain_never_promises_a_peak_over_the_ceiling():
    """4 dB are wanted, 1 dB is free: the move is 1.0 dB and 3.0 dB must come off the peaks first."""
    verdict = judged(integrated=-27.0, max_true_peak=-2.0)

    assert verdict.move_db == pytest.approx(1.0)
    more = "take 3.0 dB off the highest peaks first, then set it to −23.0 LUFS and measure again."
    assert sentences(verdict)[-2:] == [
        f"Gain alone does not help: {more}",
        "Without that, a gain of +1.0 dB brings it to −26.0 LUFS with peaks at −1.0 dBTP.",
    ]


def test_loud_peaks_in_a_programme_on_target():
    """2 dB over the ceiling, while only 0.2 LU may be given away: gain alone cannot correct it."""
    verdict = judged(max_true_peak=1.0)

    assert not verdict.passes
    assert sentences(verdict)[0] == "True peak 1.0 dBTP at 0:00:03.0 is 2.0 dB over the ceiling of −1.0 dBTP."
    assert "2.0 dB off the highest peaks" in sentences(verdict)[-1]


def test_peaks_that_the_tolerance_has_room_for_are_mended_by_gain():
    """R 128 live may be 1 LU low: half a dB down brings both inside."""
    verdict = judged("r128-live", max_true_peak=-0.5)

    assert verdict.move_db == pytest.approx(-0.5)
    assert sentences(verdict)[-1] == "A gain of −0.5 dB brings it to −23.5 LUFS with peaks at −1.0 dBTP."


def test_short_form_is_held_to_its_highest_short_term():
    """R 128 s1: max short-term −18.0 LUFS (Tech 3343 §9.1)."""
    assert judged("r128-s1", max_short_term=-18.0).passes
    place = "Short-term reaches −17.0 LUFS at 0:00:02.0, the end of its 3 s"
    fault = f"{place}: 1.0 LU over the limit of −18.0 LUFS."
    assert fault == sentences(judged("r128-s1", max_short_term=-17.0))[0]


def test_the_worst_fault_comes_first():
    """2.0 LU over the highest short-term, 0.3 LU over the loudness."""
    verdict = judged("r128-s1", integrated=-22.5, max_short_term=-16.0)

    assert [f.about for f in verdict.findings if f.kind == "fault"] == ["short-term", "loudness"]


def test_no_gain_corrects_what_stands_too_far_above_the_rest():
    """R 128 s1: on the target, its loudest 3 s are 7 LU over it where 5 are allowed, and the tolerance has
    0.2 to give."""
    verdict = judged("r128-s1", max_short_term=-16.0)

    assert (verdict.move_db, verdict.remedy.is_enough) == (0.0, False)
    assert "bring the loudest passages down by 2.0 LU against the rest first" in sentences(verdict)[-1]


def test_range_and_peaks_that_are_in_the_way_are_both_told():
    """4 LU up are wanted: the loudest 3 s are then at −15.0 (3.0 over), the peaks at +1.0 (2.0 over)."""
    verdict = judged("r128-s1", integrated=-27.0, max_short_term=-19.0, max_true_peak=-3.0)

    assert verdict.move_db == pytest.approx(1.0)
    assert "down by 3.0 LU against the rest and take 2.0 dB off the highest peaks" in sentences(verdict)[-2]


def test_places_over_a_limit_are_spans_and_the_worst_is_first():
    """Two runs 5 s apart; within a run a dip of half a second is no end of it. A value belongs to the tenth
    of a second that ends with it."""
    history = level_history(600)
    history.short_term[100:110] = history.short_term[115:120] = -17.0
    history.short_term[170:180] = -16.0
    first, second = judged("r128-s1", history, max_short_term=-16.0).spans("short-term")

    assert (first.start_s, first.end_s, first.worst) == pytest.approx((17.0, 18.0, -16.0))
    assert (second.start_s, second.end_s, second.worst) == pytest.approx((10.0, 12.0, -17.0))


def test_what_passes_as_shown_is_no_place_over_a_limit():
    """−17.96 is shown as −18.0, which R 128 s1 allows."""
    history = level_history(600)
    history.short_term[100:110] = -17.96
    history.short_term[200] = -17.94

    (only,) = judged("r128-s1", history, max_short_term=-17.94).spans("short-term")
    assert only.start_s == pytest.approx(20.0)


def test_a_maximum_between_the_points_of_the_history_has_its_place():
    """The meter's own maximum is kept 100 times a second; the history, 10 times, never shows it."""
    (only,) = judged("r128-s1", max_short_term=-17.9).spans("short-term")

    assert (only.start_s, only.end_s, only.worst) == (1.9, 2.0, -17.9)


def test_a_peak_in_the_last_unfinished_block_has_its_place():
    """The history holds whole tenths of a second; the file is 0.05 s longer, and its peak is there."""
    file = replace(made(max_true_peak=1.0, seconds=60.05), max_true_peak_at_s=60.0)
    (only,) = judge(file, load_goal("r128")).spans("true peak")

    assert (only.start_s, only.end_s, only.worst) == (60.0, 60.05, 1.0)


def test_many_places_are_capped_in_words_only():
    """Eleven clicks 2 s apart: five are named, the rest counted; scripts get them all."""
    history = level_history(600)
    history.true_peak[::20][:11] = np.arange(1.0, 12.0)[:, None]
    verdict = judged(history=history, max_true_peak=11.0)
    places = verdict.findings[0].places

    assert len(verdict.spans("true peak")) == 11
    assert places.startswith("At 0:00:20.0 (11.0); 0:00:18.0 (10.0); ")
    assert places.endswith("; and 6 more.")


LEVELS = st.floats(-45.0, -5.0).map(lambda level: round(level, 2))


@pytest.mark.slow
@settings(deadline=None, max_examples=300)
@given(
    goal=st.sampled_from(["r128", "r128-live", "r128-s1", "a85", "aes-track", "premaster"]),
    narrow=st.booleans(),
    integrated=LEVELS,
    above=st.tuples(st.floats(0.0, 15.0), st.floats(0.0, 5.0), st.floats(0.0, 20.0)),
)
def test_a_gain_that_is_said_to_be_enough_is_enough(goal, narrow, integrated, above):
    """Whatever a file reads, down to the narrowest tolerance that is shown: after the gain it passes, or the
    remedy says what else must be done."""
    short, momentary, peak = (round(lu, 2) for lu in above)
    held = load_goal(goal)
    held = replace(held, tolerance_below_lu=0.1, tolerance_above_lu=0.1) if narrow else held

    def at(gain_db):
        file = made(
            integrated=integrated + gain_db,
            max_short_term=integrated + gain_db + short,
            max_momentary=integrated + gain_db + short + momentary,
            max_true_peak=integrated + gain_db + peak,
        )
        return judge(file, held)

    before = at(0.0)
    assert before.remedy.is_enough == at(before.move_db).passes
    if before.passes:
        assert before.move_db == 0.0


def test_what_holds_for_several_goals_is_told_once():
    """R 128 and its s1 have one target and one ceiling; only s1 limits the short-term loudness."""
    file = made(integrated=-20.0, max_short_term=-17.0)
    verdicts = [judge(file, load_goal(goal)) for goal in ("r128", "r128-s1")]

    assert [(goal, finding.about) for goal, finding in findings_by_goal(verdicts)] == [
        ("r128, r128-s1", "loudness"),
        ("r128, r128-s1", "remedy"),
        ("r128-s1", "short-term"),
    ]


def test_several_goals_are_told_one_after_the_other_and_notes_once():
    """A note is the file's own, whatever it is held against."""
    file = made(facts=replace(FACTS, clipped_runs=1, clips_at_s=(4.0,)), integrated=-20.0)
    rows = [
        (goal, f.about)
        for goal, f in findings_by_goal([judge(file, load_goal(g)) for g in ("r128", "r128-s2")])
    ]

    assert rows == [("r128", "loudness"), ("r128", "remedy"), ("", "clipping")]


def test_silence_neither_passes_nor_is_moved():
    """There is nothing to judge, and the sentence says why."""
    verdict = judged(integrated=SILENCE, max_true_peak=SILENCE)

    assert (verdict.passes, verdict.move_db) == (False, None)
    assert "silent" in sentences(verdict)[0]


def test_samples_that_are_no_numbers_fail_the_file_and_ask_for_no_gain():
    """Where the loudness is right there is nothing to move: the export has to be repeated."""
    verdict = judged(bad_samples=3)

    assert (verdict.passes, verdict.move_db, [f.kind for f in verdict.findings]) == (False, 0.0, ["fault"])
    assert "3 samples are no numbers" in sentences(verdict)[0]


@pytest.mark.parametrize(
    ("value", "text"), [(-23.04, "−23.0"), (-0.04, "0.0"), (0.05, "0.1"), (SILENCE, "−∞")]
)
def test_figures_have_one_decimal_and_a_printed_minus(value, text):
    """Tech 3341 §2.8: at most one decimal; there is no minus zero."""
    assert text == figure(value)
