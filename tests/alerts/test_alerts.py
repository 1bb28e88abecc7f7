"""The watch: when each warning comes, stays and goes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from alert_bench import GOAL, HOT, ON_TARGET, OVER, SILENT, STEP_S, AlertBench

from sidecar.alerts.rules import AlertRules
from sidecar.model.readings import ALERT_NAMES, SILENCE, Reading


@pytest.fixture
def bench() -> AlertBench:
    return AlertBench(AlertRules(GOAL))


def test_all_five_alerts_come_each_time_in_the_order_of_the_vocabulary():
    """Whoever draws or sends the alerts can rely on their order."""
    alerts = AlertRules(GOAL).update(0.0, Reading())

    assert tuple(alert.name for alert in alerts) == ALERT_NAMES
    assert {alert.state for alert in alerts} == {"off"}


@pytest.mark.slow
def test_a_programme_on_target_warns_of_nothing(bench):
    """An hour inside the goal stays without a warning."""
    assert bench.states(3600.0, ON_TARGET, peak_dbtp=-6.0) == {}


class TestOver:
    def test_comes_after_a_second_above_the_highest_that_passes(self, bench):
        """R 128's -23.0 +0.2 LU: -22.0 warns, with the value and the limit, once it has stood a second."""
        assert bench.states(1.0, OVER) == {}

        over = bench.play(STEP_S, OVER)["over"]

        assert ("on", -22.0, -22.8, bench.now_s) == (over.state, over.value, over.limit, over.since_s)

    def test_leaves_the_tolerance_alone(self, bench):
        """-22.8 LUFS passes R 128 V5 h) and i), so it is not over."""
        assert bench.states(10.0, replace(ON_TARGET, integrated=-22.8)) == {}

    def test_waits_for_three_measured_seconds(self, bench):
        """The first words of a programme are no verdict on it."""
        assert bench.states(10.0, replace(OVER, seconds=2.9)) == {}
        assert bench.states(1.125, replace(OVER, seconds=3.0)) == {"over": "on"}

    def test_goes_only_a_tenth_below_the_limit(self, bench):
        """A value that trembles on the limit does not switch the warning with it."""
        bench.play(2.0, OVER)

        assert bench.states(30.0, replace(ON_TARGET, integrated=-22.85)) == {"over": "on"}
        assert bench.states(STEP_S, replace(ON_TARGET, integrated=-22.91)) == {}

    def test_at_the_end_it_is_what_the_verdict_says(self, bench):
        """-22.85 LUFS passes R 128 V5 h) and i): no warning stays beside that verdict. 2 s of -22 fail."""
        near = replace(ON_TARGET, integrated=-22.85)
        bench.play(5.0, OVER)

        assert bench.states(5.0, near) == {"over": "on"}
        assert bench.states(STEP_S, near, ended=True) == {}
        assert bench.states(STEP_S, replace(OVER, seconds=2.0), ended=True) == {"over": "on"}

    def test_stays_through_a_pause(self, bench):
        """Paused, the integrated value and its alert do not change."""
        bench.play(2.0, OVER)

        assert bench.states(30.0, OVER, paused=True) == {"over": "on"}


class TestHot:
    def test_comes_when_short_term_stays_above_the_line_for_the_hold(self, bench):
        """One loud second is not hot, more than one is."""
        assert bench.states(1.0, HOT) == {}

        hot = bench.play(STEP_S, HOT)["hot"]

        assert (hot.state, hot.value, hot.limit) == ("on", -19.0, -20.0)

    def test_takes_the_hold_from_the_goal(self):
        """A goal with a hold of four seconds warns no sooner."""
        bench = AlertBench(AlertRules(replace(GOAL, hot_hold_s=4.0)))

        assert bench.states(4.0, HOT) == {}
        assert bench.states(STEP_S, HOT) == {"hot": "on"}

    def test_starts_its_hold_anew_after_each_dip(self, bench):
        """Loud moments with quiet ones between do not add up."""
        for _ in range(20):
            assert bench.states(0.875, HOT) == {}
            assert bench.states(STEP_S, ON_TARGET) == {}

    def test_goes_a_second_after_falling_one_lu_below_the_line(self, bench):
        """Between the line and 1 LU below it the warning stays; below, it lasts one second more."""
        bench.play(2.0, HOT)

        assert bench.states(30.0, replace(HOT, short_term=-20.9)) == {"hot": "on"}
        assert bench.states(1.0, replace(HOT, short_term=-21.1)) == {"hot": "on"}
        assert bench.states(STEP_S, replace(HOT, short_term=-21.1)) == {}

    def test_its_last_second_begins_when_the_level_falls(self, bench):
        """Falling right after the warning came, it still gets its whole second."""
        bench.play(1.125, HOT)

        assert bench.states(1.0, ON_TARGET) == {"hot": "on"}
        assert bench.states(STEP_S, ON_TARGET) == {}

    def test_warns_in_a_pause_too(self, bench):
        """Too loud is too loud, measured or not."""
        assert bench.states(2.0, HOT, paused=True) == {"hot": "on"}


class TestCeiling:
    @pytest.mark.slow
    def test_one_peak_is_shown_for_a_second_and_then_held(self, bench):
        """Nobody has to look at the right moment to learn of one peak above -1 dBTP (R 128 V5 m)."""
        struck = replace(ON_TARGET, max_true_peak=-0.9)
        ceiling = bench.play(STEP_S, struck, peak_dbtp=-0.9)["ceiling"]

        assert (ceiling.state, ceiling.value, ceiling.limit) == ("on", -0.9, -1.0)
        assert bench.states(0.875, struck) == {"ceiling": "on"}
        assert bench.states(STEP_S, struck) == {"ceiling": "latched"}
        assert bench.states(3600.0, struck) == {"ceiling": "latched"}

    def test_a_peak_at_the_ceiling_passes(self, bench):
        """The ceiling is the highest that passes, so only what is above it warns."""
        assert bench.states(2.0, replace(ON_TARGET, max_true_peak=-1.0), peak_dbtp=-1.0) == {}

    def test_acknowledged_it_returns_with_a_new_peak_only(self, bench):
        """The old maximum stays in the reading without warning again; a new, lower peak warns."""
        struck = replace(ON_TARGET, max_true_peak=0.5)
        bench.play(STEP_S, struck, peak_dbtp=0.5)
        bench.play(5.0, struck)
        bench.watch.acknowledge()

        assert bench.states(60.0, struck, peak_dbtp=-3.0) == {}
        assert bench.states(STEP_S, struck, peak_dbtp=-0.5) == {"ceiling": "on"}
        assert bench.states(2.0, struck) == {"ceiling": "latched"}

    def test_acknowledged_while_on_it_ends_without_being_held(self, bench):
        """Who saw it happen need not say so twice; the minimum time on still runs out."""
        bench.play(STEP_S, ON_TARGET, peak_dbtp=0.0)
        bench.watch.acknowledge()

        assert bench.states(0.875, ON_TARGET) == {"ceiling": "on"}
        assert bench.states(STEP_S, ON_TARGET) == {}

    def test_a_peak_after_the_acknowledgement_has_not_been_seen(self, bench):
        """An acknowledgement covers what came before it, nothing later."""
        bench.play(STEP_S, ON_TARGET, peak_dbtp=0.0)
        bench.watch.acknowledge()
        bench.play(STEP_S, ON_TARGET, peak_dbtp=0.0)

        assert bench.states(5.0, ON_TARGET) == {"ceiling": "latched"}

    def test_an_acknowledgement_in_advance_is_worth_nothing(self, bench):
        """Pressing the key before anything has happened hides nothing."""
        bench.watch.acknowledge()
        bench.play(STEP_S, ON_TARGET, peak_dbtp=0.0)

        assert bench.states(5.0, ON_TARGET) == {"ceiling": "latched"}

    def test_peaks_in_a_pause_are_no_part_of_the_programme(self, bench):
        """A click while rewinding does not spoil the delivery."""
        assert bench.states(5.0, ON_TARGET, peak_dbtp=2.0, paused=True) == {}

    def test_a_peak_that_a_pause_cut_short_is_told_all_the_same(self, bench):
        """The maximum has risen over -1 dBTP (R 128 V5 m), though no whole block holds that peak."""
        bench.play(1.0, ON_TARGET)

        assert bench.states(STEP_S, replace(ON_TARGET, max_true_peak=-0.3), paused=True) == {"ceiling": "on"}

    def test_a_measurement_taken_up_again_shows_its_peak(self, bench):
        """A watch that starts with a maximum above the ceiling says so."""
        assert bench.states(2.0, replace(ON_TARGET, max_true_peak=-0.3)) == {"ceiling": "latched"}


class TestLost:
    def test_comes_after_more_than_a_second_without_audio(self, bench):
        """A second is still a late buffer, more is a loss."""
        assert bench.states(STEP_S, ON_TARGET, since_audio_s=1.0) == {}

        lost = bench.play(STEP_S, ON_TARGET, since_audio_s=1.125)["lost"]

        assert (lost.state, lost.value, lost.limit) == ("on", 1.125, 1.0)

    def test_stays_a_second_and_goes_when_audio_is_back(self, bench):
        """A short loss is seen, a healed one is not held."""
        bench.play(STEP_S, ON_TARGET, since_audio_s=1.125)

        assert bench.states(0.875, ON_TARGET) == {"lost": "on"}
        assert bench.states(STEP_S, ON_TARGET) == {}

    def test_ends_hot_since_nothing_is_heard(self, bench):
        """The last reading before the loss does not keep a level warning alive."""
        bench.play(2.0, HOT)

        assert bench.states(2.0, HOT, since_audio_s=5.0) == {"lost": "on"}

    def test_starts_no_level_warning(self, bench):
        """Nor does that reading start one, however long the loss lasts."""
        for _ in range(80):
            assert bench.states(STEP_S, HOT, since_audio_s=5.0) == {"lost": "on"}

    def test_leaves_over_as_it_was(self, bench):
        """What has been measured remains measured."""
        bench.play(2.0, OVER)

        assert bench.states(30.0, OVER, since_audio_s=5.0) == {"over": "on", "lost": "on"}


class TestSilent:
    def test_comes_after_ten_seconds_below_the_gate(self, bench):
        """Audio that arrives as silence (below BS.1770's -70 LUFS) warns after ten seconds of it."""
        assert bench.states(10.125, SILENT) == {}

        silent = bench.play(STEP_S, SILENT)["silent"]

        assert (silent.state, silent.value, silent.limit) == ("on", 10.125, 10.0)

    def test_the_wait_can_be_set(self):
        """Half a minute of silence may be part of a programme."""
        bench = AlertBench(AlertRules(GOAL, silent_after_s=30.0))

        assert bench.states(30.125, SILENT) == {}
        assert bench.states(STEP_S, SILENT) == {"silent": "on"}

    def test_a_sound_starts_the_wait_anew(self, bench):
        """Nine seconds of silence, a sound and nine more are no warning."""
        for momentary_lufs in (-70.0, -23.0):
            assert bench.states(9.0, SILENT) == {}
            assert bench.states(STEP_S, replace(ON_TARGET, momentary=momentary_lufs)) == {}

    def test_goes_with_the_first_sound(self, bench):
        """It is not held: the sound is back."""
        bench.play(15.0, SILENT)

        assert bench.states(STEP_S, ON_TARGET) == {}

    def test_is_not_expected_of_a_pause(self, bench):
        """Who pauses has usually stopped the playback."""
        assert bench.states(60.0, SILENT, paused=True) == {}

    def test_a_stall_is_lost_and_not_silent(self, bench):
        """The two never show together, and a stall does not count as silence."""
        bench.play(9.875, SILENT)
        for stall_s in (0.25, 0.5, 0.75, 1.0):
            assert bench.states(STEP_S, SILENT, since_audio_s=stall_s) == {}
        assert bench.states(60.0, SILENT, since_audio_s=1.25) == {"lost": "on"}


class TestNewProgramme:
    def test_reset_puts_out_what_was_about_the_programme(self, bench):
        """Over, hot and ceiling belong to the pass that ended; a lost line is lost still."""
        loud = replace(OVER, short_term=-15.0, max_true_peak=0.0)
        bench.play(2.0, loud, peak_dbtp=0.0)
        assert bench.states(STEP_S, loud, peak_dbtp=0.0).keys() == {"ceiling", "over", "hot"}
        assert bench.states(STEP_S, loud, since_audio_s=3.0).keys() == {"ceiling", "over", "hot", "lost"}

        bench.watch.reset()

        assert bench.states(60.0, Reading(), since_audio_s=3.0) == {"lost": "on"}

    def test_reset_leaves_the_new_pass_its_own_holds(self, bench):
        """The seconds before the reset do not count towards a warning after it."""
        bench.play(1.0, OVER)
        bench.watch.reset()

        assert bench.states(1.0, OVER) == {}
        assert bench.states(STEP_S, OVER) == {"over": "on"}

    def test_another_goal_judges_the_same_programme_afresh(self, bench):
        """-22.0 LUFS with a peak of -1.5 dBTP is over for one goal, and hits the ceiling of the other."""
        reading = replace(OVER, max_true_peak=-1.5)
        assert bench.states(2.0, reading) == {"over": "on"}

        bench.watch.change_goal(replace(GOAL, target_lufs=-20.0, hot_lufs=-17.0, ceiling_dbtp=-2.0))

        assert bench.states(STEP_S, reading) == {"ceiling": "on"}
        assert bench.states(60.0, reading) == {"ceiling": "latched"}

    def test_a_looser_ceiling_lets_a_held_peak_go(self, bench):
        """A peak that passes under the new goal is no longer held against it."""
        reading = replace(ON_TARGET, max_true_peak=-0.5)
        assert bench.states(5.0, reading) == {"ceiling": "latched"}

        bench.watch.change_goal(replace(GOAL, ceiling_dbtp=-0.3))

        assert bench.states(60.0, reading) == {}

    def test_the_same_goal_again_changes_nothing(self, bench):
        """A surface that repeats the goal as a heartbeat does not make the warnings blink."""
        before = bench.play(5.0, OVER)["over"]

        bench.watch.change_goal(replace(GOAL))

        assert before == bench.play(STEP_S, OVER)["over"]


def test_a_clock_that_steps_back_leaves_no_warning_stuck(bench):
    """After a step of an hour back, each warning still goes in its usual time."""
    bench.play(15.0, replace(OVER, momentary=SILENCE, short_term=-15.0), peak_dbtp=0.0)
    bench.watch.acknowledge()
    bench.now_s -= 3600.0

    assert bench.states(1.25, ON_TARGET) == {}


def test_a_clock_that_steps_back_starts_a_hold_anew(bench):
    """A warning that was about to come comes in its usual time, not an hour later."""
    bench.play(0.875, HOT)
    bench.now_s -= 3600.0

    assert bench.states(1.125, HOT) == {"hot": "on"}
