"""The move that lands the pass that is playing, its past included."""

import dataclasses
import math

import numpy as np
import pytest
from advice_reference import TELEVISION, energy, gained, integrated, material

from sidecar.advice import LandingAdvisor
from sidecar.advice.programme.forecast import unheard_rest
from sidecar.advice.programme.headroom import under_ceiling
from sidecar.errors import SettingsError, SignalError
from sidecar.loudness.gating import Powers
from sidecar.model.readings import Move

LOOK = 300
"""One look every 30 s."""


def played(programme, seconds, faders_db=0.0, profile=None, duration_s=None):
    """An advisor that has heard the first seconds of a programme."""
    blocks = seconds * 10
    faders_db = np.broadcast_to(faders_db, len(programme))[:blocks]
    advisor = LandingAdvisor(TELEVISION, duration_s or len(programme) / 10, profile)
    advisor.push(gained(programme[:blocks], faders_db), faders_db)
    return advisor


def ridden(programme, profile=None):
    """The programme as metered when every look is obeyed at once, and the travel of the fader."""
    advisor = LandingAdvisor(TELEVISION, len(programme) / 10, profile)
    metered, fader_db, travel_db = programme.copy(), 0.0, 0.0
    for now in range(LOOK, len(programme), LOOK):
        advisor.push(metered[now - LOOK : now], fader_db)
        gain_db = advisor.this_pass().gain_db
        fader_db, travel_db = fader_db + gain_db, travel_db + abs(gain_db)
        metered[now:] = gained(programme[now:], fader_db)
    return metered, travel_db


def reset_and_moved(programme):
    """The same under the habit of moving by target minus what was read since the last move."""
    metered, fader_db, since, travel_db = programme.copy(), 0.0, 0, 0.0
    for now in range(LOOK, len(programme), LOOK):
        gain_db = round(TELEVISION.target_lufs - integrated(metered[since:now]), 1)
        fader_db, since, travel_db = fader_db + gain_db, now, travel_db + abs(gain_db)
        metered[now:] = gained(programme[now:], fader_db)
    return metered, travel_db


def jittered(programme, seed=0):
    """Another performance: 0.8 dB of independent difference in every block."""
    return gained(programme, np.random.default_rng(seed).normal(0.0, 0.8, len(programme)))


def error_lu(metered):
    return abs(integrated(metered) - TELEVISION.target_lufs)


def test_a_pass_without_a_length_cannot_be_landed():
    """this_pass needs the duration and says so."""
    advisor = LandingAdvisor(TELEVISION)
    advisor.push(energy([-20.0] * 300), 0.0)

    with pytest.raises(SettingsError, match="length"):
        advisor.this_pass()


@pytest.mark.parametrize("seed", range(4))
def test_with_a_known_rest_the_landing_is_exact_under_both_gates(seed):
    """With the very same earlier pass, the landing that is promised is the one that comes."""
    programme = material(seed, 300, level_lufs=-22.0)
    faders = np.repeat([0.0, 2.0], [700, 2300])
    advisor = played(programme, 120, faders, profile=programme)

    move = advisor.this_pass()

    whole = gained(programme, np.concatenate([faders[:1200], np.full(1800, 2.0 + move.gain_db)]))
    assert integrated(whole) == pytest.approx(move.landing, abs=0.02)
    assert move.landing_high - move.landing_low < 1.0


def test_the_past_is_made_up_for():
    """60 s of 120 played 1 LU under the target: the steady rest must lie over it, as energies add."""
    programme = energy([-24.0] * 1200)

    move = played(programme, 60, profile=programme).this_pass()

    owed = 10.0 * math.log10(2.0 * 10.0**0.1 - 1.0)
    assert owed == pytest.approx(move.gain_db, abs=0.15)
    assert move.landing == pytest.approx(-23.0, abs=0.1)


def test_a_past_that_is_too_loud_is_named_with_the_nearest_landing():
    """When the past alone keeps the pass over the target, the reason gives what can still be reached."""
    programme = energy([-13.0] * 1000 + [-23.0] * 200)

    move = played(programme, 100, profile=programme).this_pass()

    assert "−23.0 LUFS is out of reach" in move.reason
    assert move.landing > -14.5


def test_a_large_move_is_made_in_steps():
    """A raise that the target asks for is not asked of the hand at once."""
    programme = energy([-30.0] * 3000)

    move = played(programme, 60, profile=programme).this_pass()

    assert (move.gain_db, move.limited_by) == (3.0, "step")
    assert "look again" in move.reason


def test_a_quiet_opening_does_not_push_a_score_up():
    """30 s at 15 LU under the target in a 10-minute pass move the fader by little."""
    programme = energy([-38.0] * 6000)

    move = played(programme, 30).this_pass()

    assert 0.0 <= move.gain_db <= 3.0
    assert move.landing_low < -23.0 < move.landing_high


def test_on_course_there_is_nothing_to_do():
    """A programme that has played at its target is left alone."""
    move = played(energy([-23.0] * 6000), 300).this_pass()

    assert move.is_quiet
    assert "Leave the fader" in move.reason


def test_an_ended_pass_says_where_it_landed():
    """When all has played, there is no move, only the integrated loudness as metered."""
    programme = material(3, 60)

    move = played(programme, 60).this_pass()

    assert move.gain_db == 0.0
    assert integrated(programme) == pytest.approx(move.landing, abs=1e-9)


def test_a_raise_in_mid_pass_stops_at_the_ceiling():
    """Peaks heard at -2.0 dBTP leave 1.0 dB under a ceiling of -1.0, however much the rest should rise."""
    advisor = LandingAdvisor(TELEVISION, 300.0, energy([-27.0] * 3000))
    advisor.push(energy([-27.0] * 600), 0.0, -2.0)

    move = advisor.this_pass()

    assert (move.gain_db, move.limited_by) == (1.0, "ceiling")


def test_a_pass_that_stays_too_loud_is_lowered_for_its_peaks():
    """Where the past keeps it over the target and peaks pass the ceiling, the fader is not left alone."""
    programme = energy([-13.0] * 1000 + [-23.0] * 200)
    advisor = LandingAdvisor(TELEVISION, 120.0, programme)
    advisor.push(programme[:1000], 0.0, 0.5)

    move = advisor.this_pass()

    assert (move.gain_db, move.limited_by) == (-1.5, "ceiling")
    said = "Down 1.5 dB: loudness and peaks ask for it; it heads for −13.0 LUFS, still over −22.8 LUFS."
    assert said == move.reason


def test_peaks_lower_no_pass_under_its_target():
    """With the loudness at its target only what loudness can spare is taken; the rest is for a limiter."""
    move = Move(-2.0, -22.7, reason="Down 2.0 dB from here: this pass then heads for −22.7 LUFS.")

    lowered = under_ceiling(move, lambda gain_db: -20.7 + gain_db, 4.0, TELEVISION)

    assert (lowered.gain_db, lowered.limited_by) == (-2.3, "ceiling")
    assert "peaks still pass −1.0 dBTP: take 2.7 dB off them." in lowered.reason


def test_a_finished_master_is_lowered_from_early_on():
    """Material 14 LU too hot is no rough mix: no soft end is expected, and the likely range shows it."""
    steady = energy([-9.0 + math.sin(block) for block in range(2400)])
    for heard_s in (35, 95, 155):
        advisor = LandingAdvisor(TELEVISION, 240.0)
        advisor.push(steady[: heard_s * 10], 0.0, -10.0)
        move = advisor.this_pass()

        assert move.gain_db == -6.0
        after = gained(steady, np.where(np.arange(2400) < heard_s * 10, 0.0, move.gain_db))
        landed = integrated(after)
        assert move.landing_low <= landed <= move.landing_high


def test_what_is_out_of_reach_is_left_to_the_next_pass():
    """Where too little is left for the fader, the advice names the nearest one and a move for a new pass."""
    advisor = LandingAdvisor(TELEVISION, 100.0)
    advisor.push(energy([-13.0] * 900), 0.0, -10.0)

    said = advisor.this_pass().reason

    expected = "Leave the fader: −23.0 LUFS is out of reach in this pass, −13.4 LUFS the nearest. "
    assert said == f"{expected}Next pass: Down 10.0 dB."


@pytest.mark.parametrize(("seconds", "wait_s"), [(60, 30.0), (540, 15.0), (590, 5.0)])
def test_looks_follow_each_other_faster_near_the_end(seconds, wait_s):
    """Half a minute apart while much is to come, a quarter of the rest later on, never under 5 s."""
    advisor = played(energy([-23.0] * 6000), seconds)

    assert wait_s == advisor.look_again_s


def test_a_passage_that_was_heard_is_expected_again():
    """Half loud and half soft so far: what is still to come lands the pass where the past did, and the
    band shows that it may turn out as either."""
    programme = energy(np.tile(np.repeat([-20.0, -26.0], 300), 10))

    move = played(programme, 300).this_pass()

    assert abs(move.gain_db) <= 2.0
    assert move.landing_low < integrated(gained(programme, 0.0)) < move.landing_high


def test_a_closed_fader_counts_as_silence_in_this_pass():
    """Blocks under a closed fader belong to the pass as metered, and the position to open to is named."""
    faders = np.repeat([0.0, -math.inf], [600, 600])
    advisor = LandingAdvisor(TELEVISION, 240.0)
    advisor.push(gained(energy([-20.0] * 1200), faders), faders)

    move = advisor.this_pass()

    assert move.gain_db == 0.0
    assert "The fader is closed" in move.reason


@pytest.mark.slow
def test_following_the_advice_beats_the_habit():
    """Obeyed at every look, the advice lands 10 programmes at less than half the habit's error and travel."""
    programmes = [material(seed, 600, level_lufs=-25.0) for seed in range(20, 30)]

    advised = [ridden(programme) for programme in programmes]
    habits = [reset_and_moved(programme) for programme in programmes]

    errors = [np.median([error_lu(metered) for metered, _ in way]) for way in (advised, habits)]
    travels = [sum(travel_db for _, travel_db in way) for way in (advised, habits)]
    assert errors[0] < 0.5 * errors[1]
    assert travels[0] < 0.5 * travels[1]


@pytest.mark.parametrize("seed", range(30, 34))
def test_an_earlier_performance_lands_the_pass(seed):
    """With a performance that differs by 0.8 dB in every block, the pass lands within 0.15 LU."""
    programme = material(seed, 300, level_lufs=-26.0)

    metered, _ = ridden(programme, jittered(programme, seed))

    assert error_lu(metered) < 0.15


def test_advice_is_the_same_for_the_same_input():
    """No chance enters the advice."""
    programme = material(5, 300)

    assert played(programme, 120).this_pass() == played(programme, 120).this_pass()


@pytest.mark.parametrize("start_s", [0, 40])
def test_an_earlier_pass_is_found_wherever_playback_starts(start_s):
    """A pass that starts 40 s into the earlier one, and is 2 dB louder, is placed to within 0.1 s."""
    earlier = material(6, 300)
    programme = gained(jittered(earlier[start_s * 10 :]), 2.0)

    fit = played(programme, 60, profile=earlier).earlier_fit

    assert fit.fits
    assert start_s == pytest.approx(fit.offset_s, abs=0.11)
    assert fit.louder.level_db == pytest.approx(2.0, abs=0.2)
    assert fit.error_db == pytest.approx(0.4, abs=0.1)  # 0.8 dB a block, of which four make a gating block


@pytest.mark.parametrize("late_s", [0.02, 0.05, 0.08])
def test_a_replay_fits_wherever_in_a_block_it_begins(late_s):
    """Playback is started by hand. Of the very same attacks, 0.2 to 0.5 s apart, some then fall into the next
    100 ms block: 3 to 7 dB of difference in each, and no other programme."""
    draw, ticks = np.random.default_rng(4), 10  # in 10 ms
    sound = np.full(1200 * ticks, 1e-7)
    for begins in np.cumsum(draw.integers(20, 50, 300)):
        loud = 10.0 ** (draw.uniform(-4.0, -2.5))
        decay = sound[begins : begins + 40]
        decay += loud * 10.0 ** (-np.arange(len(decay)) / 12.0)
    earlier = sound.reshape(-1, ticks).mean(axis=1)
    late = round(late_s * 100)
    replayed = sound[late : late - ticks].reshape(-1, ticks).mean(axis=1)

    fit = played(replayed, 60, profile=earlier).earlier_fit

    assert fit.fits
    assert fit.offset_s == pytest.approx(late_s, abs=0.03)
    assert fit.louder.level_db == pytest.approx(0.0, abs=0.2)


def test_a_lead_in_shifts_the_earlier_pass():
    """5 s of silence before the programme begins are found as an offset of -5 s."""
    earlier = material(7, 300)
    programme = np.concatenate([energy([-90.0] * 50), jittered(earlier)])

    fit = played(programme, 60, profile=earlier).earlier_fit

    assert fit.fits
    assert fit.offset_s == pytest.approx(-5.0, abs=0.11)


def test_another_programme_does_not_fit_and_is_not_used():
    """An earlier pass of something else is refused, the reason says so, and the advice is as without it."""
    programme, other = material(8, 300), material(9, 300)

    with_other = played(programme, 90, profile=other).this_pass()
    without = played(programme, 90).this_pass()

    assert not played(programme, 90, profile=other).earlier_fit.fits
    assert "does not fit" in with_other.reason
    assert without == dataclasses.replace(with_other, reason=without.reason)


def test_settings_that_cannot_be_are_refused():
    """A length of nothing and a profile with a negative energy are named at once."""
    with pytest.raises(SettingsError, match="length"):
        LandingAdvisor(TELEVISION, duration_s=0.0)
    with pytest.raises(SignalError, match="earlier pass"):
        LandingAdvisor(TELEVISION, profile=[1.0, -1.0])


@pytest.mark.parametrize("lead_lufs", [-math.inf, -90.0])
def test_a_silent_lead_in_tells_nothing_of_the_programme(lead_lufs):
    """12 s of silence before the programme leave the advice within a step of doing nothing, and finite."""
    programme = np.concatenate([energy([lead_lufs] * 120), energy([-23.0] * 2880)])

    move = played(programme, 17).this_pass()

    assert abs(move.gain_db) <= 3.0
    assert math.isfinite(move.landing_low) and math.isfinite(move.landing_high)


def test_a_fader_that_is_only_being_opened_does_not_count_as_the_rough_mix():
    """A fade-in from -60 dB over the first seconds leaves programme at its target where it is."""
    faders = np.concatenate([np.linspace(-60.0, 0.0, 50), np.zeros(5950)])

    move = played(energy([-23.0] * 6000), 300, faders).this_pass()

    assert abs(move.gain_db) <= 0.5


def test_a_fader_pulled_far_down_is_brought_back():
    """With the fader at -50 dB and a past under the target, the rest is asked to be raised."""
    faders = np.repeat([0.0, -50.0], [1200, 4800])

    move = played(energy([-26.0] * 6000), 180, faders).this_pass()

    assert (move.gain_db, move.limited_by) == (3.0, "step")


def test_a_rest_that_no_gate_lets_through_lands_on_silence():
    """Where every block stays under the absolute gate the landing is minus infinity, never NaN."""
    quiet = np.full(100, 1e-9)
    rest = unheard_rest(Powers(quiet), quiet, 100, 0.0, -23.0)

    landings = rest.landings(Powers(quiet), 0.0)

    assert not np.isnan(landings).any()
    assert (-math.inf, True) == (landings[0].max(), math.isfinite(landings[-1].min()))
