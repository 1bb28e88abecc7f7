"""What passes, what fails and what mends it, on figures worked out by hand."""

from dataclasses import replace

import pytest

from sidecar.delivery.verdict import judge
from sidecar.goals import load_goal
from sidecar.vocabulary import SILENCE, Reading, figure

RIGHT = Reading(integrated=-23.0, max_true_peak=-3.0, max_short_term=-19.0, max_momentary=-17.0)


def judged(goal="r128", **changes):
    return judge(replace(RIGHT, **changes), load_goal(goal))


def test_a_programme_on_target_passes_and_needs_no_gain():
    """Nothing is found and nothing is moved."""
    verdict = judged()

    assert (True, (), 0.0) == (verdict.passes, verdict.findings, verdict.move_db)


@pytest.mark.parametrize(
    ("integrated", "passes"), [(-22.8, True), (-22.76, True), (-22.74, False), (-23.2, True), (-23.26, False)]
)
def test_figures_are_judged_as_they_are_shown(integrated, passes):
    """R 128 i): ±0.2 LU; Tech 3341 §2.8: one decimal is shown, so −22.76 is −22.8 and passes."""
    assert passes == judged(integrated=integrated).passes


def test_a_quiet_programme_is_brought_up_by_one_static_gain():
    """Tech 3343 §3.1: target minus loudness; the peaks stay under the ceiling."""
    verdict = judged(integrated=-25.0, max_true_peak=-6.0)

    assert pytest.approx(2.0) == verdict.move_db
    assert "2.0 LU under" not in verdict.findings[0]
    assert "1.8 LU under the lowest that passes" in verdict.findings[0]
    assert "A gain of +2.0 dB brings it to −23.0 LUFS with peaks at −4.0 dBTP." == verdict.findings[1]


def test_a_gain_never_promises_a_peak_over_the_ceiling():
    """4 dB are wanted, 1 dB is free: the move is 1.0 dB and 3.0 dB must come off the peaks first."""
    verdict = judged(integrated=-27.0, max_true_peak=-2.0)

    assert pytest.approx(1.0) == verdict.move_db
    assert "Gain alone cannot mend it: take 3.0 dB off the highest peaks first." == verdict.findings[-1]


def test_loud_peaks_in_a_programme_on_target():
    """2 dB over the ceiling, while only 0.2 LU may be given away: gain alone cannot mend it."""
    verdict = judged(max_true_peak=1.0)

    assert not verdict.passes
    assert "True peak 1.0 dBTP is 2.0 dB over the ceiling of −1.0 dBTP." == verdict.findings[0]
    assert "2.0 dB off the highest peaks" in verdict.findings[-1]


def test_peaks_that_the_tolerance_has_room_for_are_mended_by_gain():
    """R 128 live may stand 1 LU low: half a dB down brings both inside."""
    verdict = judged("r128-live", max_true_peak=-0.5)

    assert pytest.approx(-0.5) == verdict.move_db
    assert "A gain of −0.5 dB brings it to −23.5 LUFS with peaks at −1.0 dBTP." == verdict.findings[-1]


def test_short_form_is_held_to_its_highest_short_term():
    """R 128 s1: max short-term −18.0 LUFS (Tech 3343 §9.1)."""
    assert judged("r128-s1", max_short_term=-18.0).passes
    assert "Short-term reaches −17.0 LUFS, 1.0 LU over" in judged("r128-s1", max_short_term=-17.0).findings[0]


def test_silence_neither_passes_nor_is_moved():
    """There is nothing to judge, and the sentence says why."""
    verdict = judged(integrated=SILENCE, max_true_peak=SILENCE)

    assert (False, None) == (verdict.passes, verdict.move_db)
    assert "silent" in verdict.findings[0]


def test_damaged_samples_are_reported_without_failing_the_file():
    """The count is part of the proof."""
    verdict = judged(bad_samples=3)

    assert verdict.passes
    assert "3 samples are not numbers" in verdict.findings[0]


@pytest.mark.parametrize(
    ("value", "text"), [(-23.04, "−23.0"), (-0.04, "0.0"), (0.05, "0.1"), (SILENCE, "−∞")]
)
def test_figures_have_one_decimal_and_a_printed_minus(value, text):
    """Tech 3341 §2.8: at most one decimal; there is no minus zero."""
    assert text == figure(value)
