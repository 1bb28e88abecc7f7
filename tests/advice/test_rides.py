"""The few places where a programme must be ridden."""

import dataclasses
import math

import numpy as np
import pytest
from advice_reference import TELEVISION, energy, gained, gated, integrated, lufs, material
from test_history import slow_range, steady

from sidecar.advice.rides.plan import plan_rides
from sidecar.advice.rides.search import ride_gains_db
from sidecar.model.readings import Ride

SHORT_FORM = dataclasses.replace(TELEVISION, max_short_term_lufs=-18.0)
"""EBU R 128 s1: target -23.0 LUFS, short-term at most -18.0 LUFS."""


def ridden(energies, rides):
    """The rides made by hand: full gain inside, straight in dB over the ramps, the deepest one counts."""
    gains = []
    for block in range(len(energies)):
        time_s = block * 0.1 + 0.05
        each = [0.0]
        for ride in rides:
            if time_s < ride.start_s:
                share = 1.0 - (ride.start_s - time_s) / ride.ramp_s
            else:
                share = 1.0 - max(time_s - ride.start_s - ride.length_s, 0.0) / ride.ramp_s
            each.append(ride.gain_db * max(share, 0.0))
        gains.append(min(each) + max(each))
    return gained(energies, np.array(gains))


def highest(energies, steps):
    return lufs(max(np.convolve(energies, np.ones(steps) / steps, "valid")))


def stings(*places, seconds=120, level=-12.0):
    """A steady programme with loud stings of 2 s."""
    levels = np.full(seconds * 10, -24.0)
    for place in places:
        levels[place * 10 : place * 10 + 20] = level
    return energy(levels)


@pytest.mark.parametrize("seed", range(5))
def test_rides_and_trim_land_the_programme_under_its_limits(seed):
    """Made by hand and measured anew: on target, both maxima under their limits, the range in its guide."""
    goal = dataclasses.replace(
        TELEVISION, max_short_term_lufs=-17.0, max_momentary_lufs=-14.0, range_guide_lu=11.0
    )
    energies = material(seed, 300, level_lufs=-20.0)

    plan = plan_rides(energies, goal)

    landed = gained(ridden(energies, plan.rides), plan.trim_db)
    assert plan.is_met
    assert goal.target_lufs == pytest.approx(integrated(landed), abs=0.001)
    assert highest(landed, 30) <= -17.0 + 1e-6
    assert highest(landed, 4) <= -14.0 + 1e-6
    assert slow_range(landed) <= 11.05
    assert slow_range(landed) == pytest.approx(plan.after.loudness_range, abs=1e-6)


def test_what_the_rides_do_to_integrated_is_exact():
    """The integrated loudness with the rides alone, measured the long way."""
    energies = stings(20, 60)

    plan = plan_rides(energies, SHORT_FORM)

    assert integrated(ridden(energies, plan.rides)) == pytest.approx(plan.ridden.integrated, abs=1e-6)
    assert plan.ridden.integrated < plan.before.integrated


@pytest.mark.parametrize(
    ("places", "count"), [((), 0), ((20,), 1), ((20, 60), 2), ((20, 24), 1), ((20, 60, 100), 3)]
)
def test_one_ride_a_place_and_neighbours_share_one(places, count):
    """As many rides as there are loud places; two places a moment apart are ridden as one."""
    assert count == len(plan_rides(stings(*places), SHORT_FORM).rides)


def test_a_ride_stands_where_the_sting_is():
    """The ride lies round the loud place and goes down."""
    (ride,) = plan_rides(stings(40), SHORT_FORM).rides

    assert ride.gain_db < 0.0
    assert 37.0 <= ride.start_s <= 42.0
    assert ride.start_s + ride.length_s <= 45.0


def test_no_ride_is_longer_than_it_must_be():
    """The short-term maximum lies on its limit, and a fifth of a second less at either end would raise it."""
    energies = stings(40)
    plan = plan_rides(energies, SHORT_FORM)
    (ride,) = plan.rides
    held = highest(ridden(energies, [ride]), 30)

    later = dataclasses.replace(ride, start_s=ride.start_s + 0.2, length_s=ride.length_s - 0.2)
    sooner = dataclasses.replace(ride, length_s=ride.length_s - 0.2)

    assert SHORT_FORM.max_short_term_lufs - plan.trim_db == pytest.approx(held, abs=0.1)
    assert all(highest(ridden(energies, [shorter]), 30) > held for shorter in (later, sooner))


def test_a_burst_is_held_under_the_momentary_limit():
    """0.4 s at -12 LUFS leave the short-term maximum alone and are ridden down for the momentary one."""
    goal = dataclasses.replace(SHORT_FORM, max_momentary_lufs=-14.0)
    energies = steady((-24.0, 40), (-12.0, 0.4), (-24.0, 80))

    plan = plan_rides(energies, goal)

    assert plan_rides(energies, SHORT_FORM).rides == ()
    assert plan.is_met
    assert highest(gained(ridden(energies, plan.rides), plan.trim_db), 4) <= -14.0 + 1e-6


def test_what_a_ride_lifts_is_held_under_the_limits_too():
    """A quiet scene is lifted for the range; a call in it, harmless before, must not pass the limit then."""
    goal = dataclasses.replace(SHORT_FORM, range_guide_lu=6.0)
    energies = steady((-22.0, 100), (-34.0, 25), (-13.0, 2), (-34.0, 25), (-22.0, 100))

    plan = plan_rides(energies, goal)

    assert any(ride.gain_db > 0.0 for ride in plan.rides)
    assert plan.is_met
    assert highest(gained(ridden(energies, plan.rides), plan.trim_db), 30) <= -18.0 + 1e-6


def test_one_ride_serves_two_limits():
    """Where a loud scene is over the short-term limit and too far from the rest, it is ridden once."""
    goal = dataclasses.replace(SHORT_FORM, range_guide_lu=10.0)
    energies = steady((-30.0, 60), (-14.0, 40), (-30.0, 60))

    plan = plan_rides(energies, goal)

    assert (len(plan.rides), plan.is_met) == (1, True)


def test_a_hot_programme_that_lands_cool_needs_no_ride():
    """Limits are held on the landed programme: too loud as a whole is the master fader's business."""
    plan = plan_rides(energy(np.full(600, -14.0)), SHORT_FORM)

    assert (plan.rides, round(plan.trim_db, 2)) == ((), -9.0)
    assert plan.reason.startswith("No ride is needed")


def test_ramps_are_no_steeper_than_a_fader_may_rise():
    """From block to block no ride changes by more than 1 dB/s."""
    plan = plan_rides(stings(20, 23, 60), SHORT_FORM)

    assert np.abs(np.diff(ride_gains_db(plan.rides, 1200))).max() <= 0.1 + 1e-9


def test_ramps_are_cut_by_the_ends_of_the_programme():
    """A ride on the first second begins there already."""
    gains = ride_gains_db([Ride(0.0, 1.0, -6.0, 6.0)], 100)

    assert gains[[0, 9]].tolist() == [-6.0, -6.0]
    assert gains[39] == pytest.approx(-3.0, abs=0.06)


def test_the_deeper_of_two_overlapping_rides_counts():
    """Rides do not add up where they meet."""
    gains = ride_gains_db([Ride(1.0, 5.0, -6.0, 6.0), Ride(3.0, 5.0, -2.0, 2.0)], 100)

    assert gains.min() == -6.0
    assert gains[75] == pytest.approx(-6.0 + 1.55, abs=0.01)
    assert gains[79] == pytest.approx(-6.0 + 1.95, abs=0.01)


def test_a_wide_programme_comes_into_the_guide_for_its_range():
    """Loud scenes and quiet ones 20 LU apart: with few rides the range comes down to the guide."""
    goal = dataclasses.replace(TELEVISION, range_guide_lu=10.0)
    energies = steady((-30.0, 60), (-14.0, 40), (-30.0, 60), (-14.0, 40), (-30.0, 60))

    plan = plan_rides(energies, goal)

    assert plan.before.loudness_range > 15.0
    assert slow_range(ridden(energies, plan.rides)) <= 10.05
    assert len(plan.rides) <= 3


def test_a_ride_up_comes_with_a_caution():
    """Lifting raises peaks: only plans that lift carry the caution."""
    goal = dataclasses.replace(TELEVISION, range_guide_lu=6.0)
    lifts = plan_rides(steady((-20.0, 100), (-32.0, 30), (-20.0, 100)), goal)

    assert any(ride.gain_db > 0.0 for ride in lifts.rides)
    assert lifts.caution.startswith("Caution")
    assert plan_rides(stings(40), SHORT_FORM).caution == ""


def test_limits_that_no_ride_can_keep_are_said_to_be_out_of_reach():
    """A short-term limit under the target cannot be kept on target, and the sentence admits it."""
    plan = plan_rides(energy(np.full(600, -23.0)), dataclasses.replace(TELEVISION, max_short_term_lufs=-26.0))

    assert not plan.is_met
    assert "No rides keep all limits" in plan.reason


@pytest.mark.parametrize("energies", [np.zeros(0), np.zeros(600), energy([-23.0, -23.0])])
def test_silence_needs_no_rides(energies):
    """Nothing measured, nothing ridden."""
    plan = plan_rides(energies, SHORT_FORM)

    assert (plan.rides, plan.is_met) == ((), True)
    assert math.isinf(plan.before.integrated)


def test_no_ride_is_made_for_a_window_across_a_cut():
    """A second of a loud sting lies on each side of a cut: one window would hold both, and none sounded."""
    levels = np.full(1200, -24.0)
    levels[590:610] = -12.0
    energies = energy(levels)
    goal = dataclasses.replace(SHORT_FORM, target_lufs=integrated(energies), max_short_term_lufs=-14.5)

    whole, cut = plan_rides(energies, goal), plan_rides(energies, goal, [600])

    assert highest(energies, 30) > -14.5 > max(highest(energies[:600], 30), highest(energies[600:], 30))
    assert (len(whole.rides), len(cut.rides)) == (1, 0)


@pytest.mark.parametrize("cut", [3, 400, 1198])
def test_what_a_cut_programme_measures_is_what_its_pieces_do(cut):
    """The gated loudness of all gating blocks that lie in one piece (BS.1770-5 Annex 1, equations 3 to 7)."""
    energies = material(41, 120)

    before = plan_rides(energies, TELEVISION, [cut]).before

    pieces = [
        np.convolve(part, np.ones(4) / 4, "valid")
        for part in (energies[:cut], energies[cut:])
        if len(part) > 3
    ]
    assert before.integrated == pytest.approx(gated(np.concatenate(pieces)), abs=0.001)
