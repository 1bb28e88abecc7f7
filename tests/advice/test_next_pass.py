"""The move for a whole pass of the material heard so far."""

import dataclasses
import math

import numpy as np
import pytest
from advice_reference import TELEVISION, energy, gained, gated, integrated, material

from sidecar.advice import LandingAdvisor
from sidecar.errors import SignalError

STREAMING = dataclasses.replace(TELEVISION, target_lufs=-16.0, tolerance_below_lu=math.inf)


def heard(programme, faders_db=0.0, peaks_dbtp=None, goal=TELEVISION):
    advisor = LandingAdvisor(goal)
    faders_db = np.broadcast_to(faders_db, len(programme))
    advisor.push(gained(programme, faders_db), faders_db, peaks_dbtp)
    return advisor


@pytest.mark.parametrize("seed", range(6))
def test_a_move_in_mid_pass_costs_nothing(seed):
    """Whatever the fader did, every look after the first minute lands the material heard within 0.02 LU."""
    programme = material(seed, 240, level_lufs=-20.0)
    faders = np.repeat(np.random.default_rng(seed).uniform(-15.0, 6.0, 24), 100)
    advisor = LandingAdvisor(TELEVISION)
    for start in range(0, 2400, 200):
        look = slice(start, start + 200)
        advisor.push(gained(programme[look], faders[look]), faders[look])
        if start < 600:
            continue

        move = advisor.next_pass()

        truth = integrated(gained(programme[: start + 200], faders[start + 199] + move.gain_db))
        assert truth == pytest.approx(move.landing, abs=0.02)
        assert move.landing == pytest.approx(-23.0, abs=0.2)


def test_the_move_is_the_offset_to_the_target_in_tenths():
    """Steady programme at -20.0 LUFS comes down by 3.0 dB: target minus integrated (Tech 3343 §3.1)."""
    move = heard(energy([-20.0] * 300)).next_pass()

    assert (move.gain_db, move.limited_by) == (-3.0, None)
    assert move.reason == "Down 3.0 dB: a whole pass then lands at −23.0 LUFS."


def test_blocks_that_cross_the_absolute_gate_are_reckoned_with():
    """Raised, quiet passages rise over -70 LUFS and pull the relative gate down: no mere shift."""
    programme = energy([-72.0] * 3000 + [-61.0] * 300 + [-52.0] * 60)
    shift = TELEVISION.target_lufs - integrated(programme)

    move = heard(programme).next_pass()

    assert abs(integrated(gained(programme, shift)) - TELEVISION.target_lufs) > 0.5
    assert integrated(gained(programme, move.gain_db)) == pytest.approx(-23.0, abs=0.05)


@pytest.mark.parametrize("level_lufs", [-23.2, -22.8, -23.0])
def test_inside_the_tolerance_nothing_is_advised(level_lufs):
    """Inside ±0.2 LU the advice is to do nothing (Tech 3343 §3.1)."""
    move = heard(energy([level_lufs] * 300)).next_pass()

    assert move.is_quiet
    assert "leave the fader" in move.reason


def test_a_wide_tolerance_is_no_reason_to_stay_far_below():
    """Where only the upper side is limited, programme 4 LU under the target is still brought up."""
    assert heard(energy([-20.0] * 300), goal=STREAMING).next_pass().gain_db == 4.0
    assert heard(energy([-16.9] * 300), goal=STREAMING).next_pass().is_quiet


def test_rounding_does_not_leave_the_tolerance():
    """With no allowance above the target, the tenth of a decibel that lands just under it is taken."""
    strict = dataclasses.replace(TELEVISION, tolerance_above_lu=0.0)

    move = heard(energy([-19.96] * 300), goal=strict).next_pass()

    assert move.gain_db == -3.1
    assert move.landing <= -23.0


def test_a_raise_stops_at_the_ceiling():
    """Peaks at -3.25 dBTP under a ceiling of -1.0 leave 2.2 dB of a raise; the rest is asked of the peaks."""
    move = heard(energy([-28.0] * 300), peaks_dbtp=-3.25).next_pass()

    assert (move.gain_db, move.limited_by) == (2.2, "ceiling")
    assert move.landing == pytest.approx(-25.8)
    assert "take 2.8 dB off the peaks first to land at −23.0 LUFS" in move.reason


def test_the_peak_is_brought_to_the_present_fader():
    """A peak metered under a fader at +6 dB is 6 dB lower once the fader is at 0 dB."""
    programme = energy([-28.0] * 600)
    faders = np.repeat([6.0, 0.0], 300)

    move = heard(programme, faders, peaks_dbtp=np.repeat([-1.0, -20.0], 300)).next_pass()

    assert (move.gain_db, move.limited_by) == (5.0, None)


def test_a_raise_without_headroom_is_not_made():
    """With peaks over the ceiling already, no raise is advised, and never a negative one in its place."""
    move = heard(energy([-24.0] * 300), peaks_dbtp=-0.4).next_pass()

    assert (move.gain_db, move.limited_by) == (0.0, "ceiling")
    assert "take 1.6 dB off the peaks first" in move.reason


def test_a_lowering_that_leaves_peaks_over_the_ceiling_says_so():
    """A programme lowered to its target may still need its peaks reduced."""
    move = heard(energy([-21.0] * 300), peaks_dbtp=2.0).next_pass()

    assert (move.gain_db, move.limited_by) == (-2.0, "ceiling")
    assert "take 1.0 dB off them" in move.reason


def test_right_loudness_with_hot_peaks_is_not_quiet():
    """On target but over the ceiling: leave the fader, work on the peaks."""
    move = heard(energy([-23.0] * 300), peaks_dbtp=-0.3).next_pass()

    assert (move.gain_db, move.limited_by) == (0.0, "ceiling")
    assert "take 0.7 dB off them" in move.reason


@pytest.mark.parametrize("level_lufs", [-20.0, -75.0])
def test_too_little_programme_is_not_advised_on(level_lufs):
    """Under 3 s above the gate, or with nothing but a noise floor however long, there is no advice."""
    blocks = 30 if level_lufs > -70.0 else 3000

    move = heard(energy([level_lufs] * blocks)).next_pass()

    assert move.is_quiet
    assert "3 s of programme" in move.reason


def test_a_closed_fader_tells_nothing_of_the_material():
    """Blocks heard with the fader all the way down change no advice."""
    programme, faders = energy([-20.0] * 600), np.repeat([0.0, -math.inf, 0.0], 200)

    assert heard(programme, faders).next_pass().gain_db == -3.0


def test_with_the_fader_closed_the_position_is_named():
    """From a closed fader no change in dB leads anywhere; the advice names where to open it to."""
    faders = np.repeat([1.0, -math.inf], 300)

    move = heard(energy([-20.0] * 600), faders).next_pass()

    assert move.gain_db == 0.0
    assert "at −3.0 dB a whole pass lands at −23.0 LUFS" in move.reason


def test_no_gating_block_spans_a_cut():
    """After a pause the gate starts a new run, as if two takes had been measured one after the other."""
    quiet, loud = energy([-40.0] * 103), energy([-20.0] * 103)
    advisor = heard(quiet)
    advisor.splice()
    advisor.push(loud, 0.0)

    landing = advisor.next_pass().landing

    assert gated([*[energy(-43.0)] * 100, *[energy(-23.0)] * 100]) == pytest.approx(landing, abs=1e-6)


def test_one_block_at_a_time_equals_all_at_once():
    """The advice does not depend on how many blocks are handed over at a time."""
    programme = material(7, 120)
    advisor = LandingAdvisor(TELEVISION)
    for block in programme:
        advisor.push(block, 0.0, -6.0)

    assert heard(programme, peaks_dbtp=-6.0).next_pass() == advisor.next_pass()


def test_a_new_goal_keeps_what_was_heard():
    """Changing the goal in mid-pass advises at once for the new target."""
    advisor = heard(energy([-20.0] * 300))
    advisor.goal = STREAMING

    assert advisor.next_pass().gain_db == 4.0


def test_reset_forgets_what_was_heard():
    """After a reset the advice waits for programme again."""
    advisor = heard(energy([-20.0] * 300), peaks_dbtp=0.0)
    advisor.reset()

    assert advisor.next_pass().is_quiet


def test_the_band_narrows_as_material_is_heard():
    """More of the same kind of material makes the landing surer, and the band always holds the landing."""
    programme = material(8, 1800)
    moves = [heard(programme[:blocks]).next_pass() for blocks in (600, 4800, 18000)]

    assert all(move.landing_low <= move.landing <= move.landing_high for move in moves)
    widths = [move.landing_high - move.landing_low for move in moves]
    assert sorted(widths, reverse=True) == widths


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_energies_that_no_meter_gives_are_refused(bad):
    """Negative or non-finite energies raise a SignalError and leave the advice as it was."""
    advisor = heard(energy([-20.0] * 300))

    with pytest.raises(SignalError):
        advisor.push(bad, 0.0)
    with pytest.raises(SignalError):
        advisor.push(1.0, math.nan)
    with pytest.raises(SignalError):
        advisor.push([1.0, 1.0], [0.0, 0.0, 0.0])
    assert advisor.next_pass().gain_db == -3.0
