"""Gated loudness as a function of gain, against a plain reading of BS.1770-5 Annex 1."""

import math

import numpy as np
import pytest
from advice_reference import energy, gained, gated, integrated, material
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.advice.programme.landing import LandingAdvisor
from sidecar.loudness.gating import LevelClasses, Part, Powers, gated_loudness, gating_powers
from sidecar.model.units import mean_square
from sidecar.settings.goals import load_goal


def test_tech_3341_case_3_drops_the_quiet_ends():
    """10 s at -36, 60 s at -23 and 10 s at -36 LUFS read -23.0 ±0.1 LUFS (EBU Tech 3341 V4, case 3)."""
    blocks = gating_powers(energy([-36.0] * 100 + [-23.0] * 600 + [-36.0] * 100))

    assert gated_loudness([Part(Powers(blocks))]) == pytest.approx(-23.0, abs=0.1)


def test_tech_3341_case_5_keeps_all_three_levels():
    """20 s at -26, 20.1 s at -20 and 20 s at -26 LUFS read -23.0 ±0.1 LUFS (EBU Tech 3341 V4, case 5)."""
    blocks = gating_powers(energy([-26.0] * 200 + [-20.0] * 201 + [-26.0] * 200))

    assert gated_loudness([Part(Powers(blocks))]) == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("gain_db", [-50.0, -46.3, -12.0, 0.0, 7.5])
def test_a_gain_is_gated_anew(gain_db):
    """Under any gain, the loudness is that of the scaled programme, near the absolute gate too."""
    programme = material(seed=1, seconds=200)

    found = gated_loudness([Part(Powers(gating_powers(programme)), gain_db)])

    assert integrated(gained(programme, gain_db)) == pytest.approx(float(found), abs=1e-9)


def test_a_gain_on_the_second_half_moves_the_gate_under_the_first():
    """A programme of two halves, one of them under a trial gain, is gated as a whole."""
    first, second = (gating_powers(material(seed, 60)) for seed in (2, 3))
    trials = np.array([-20.0, -3.0, 0.0, 11.0, 24.0])

    found = gated_loudness([Part(Powers(first)), Part(Powers(second), trials)])

    expected = [gated(np.concatenate([first, gained(second, gain_db)])) for gain_db in trials]
    assert expected == pytest.approx(found.tolist(), abs=1e-9)


def test_a_weight_counts_blocks_several_times():
    """A part of weight 3 is worth three times the blocks."""
    first, second = (gating_powers(material(seed, 30)) for seed in (4, 5))

    found = gated_loudness([Part(Powers(first)), Part(Powers(second), weight=3.0)])

    assert gated([*first, *second, *second, *second]) == pytest.approx(float(found), abs=1e-9)


def test_silence_has_no_loudness():
    """Where no block passes the absolute gate the loudness is minus infinity."""
    assert math.isinf(gated_loudness([Part(Powers(energy([-80.0] * 10)))]))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-90.0, 0.0), min_size=4, max_size=60), st.integers(1, 20), st.floats(-30.0, 30.0))
def test_pieces_sum_up_to_the_whole(levels, piece, gain_db):
    """However the blocks arrive, in pieces of any length, the loudness is that of all of them."""
    blocks, powers = energy(levels), Powers()
    for start in range(0, len(blocks), piece):
        powers.append(blocks[start : start + piece])
        powers.above(np.array(0.5))

    expected = gated(gained(blocks, gain_db))

    assert expected == pytest.approx(float(gated_loudness([Part(powers, gain_db)])), abs=1e-6)


@pytest.mark.slow
def test_a_day_is_gated_as_a_whole_and_kept_in_the_room_of_hours():
    """Six hours of blocks, taken in as they come, read within 0.001 LU under any gain."""
    blocks, powers = material(seed=8, seconds=6 * 3600), Powers()
    for piece in np.split(blocks, 60):
        powers.append(piece)
        powers.above(np.array(0.0))

    for gain_db in (-48.0, -30.0, 0.0, 11.0):
        whole = gated(blocks * 10.0 ** (gain_db / 10.0))
        assert gated_loudness([Part(powers, gain_db)]) == pytest.approx(whole, abs=0.001)
    assert powers.size < 60_000


@pytest.mark.parametrize("fader_db", [-40.0, -60.0, -120.0])
def test_classes_hold_what_is_heard_through_a_fader_that_is_almost_closed(fader_db):
    """At a fader of 0 dB the material lies far over full scale; under the fader it reads what it was."""
    powers = mean_square(-14.0) * 10.0 ** (np.random.default_rng(3).normal(0.0, 3.0, 500) / 10.0)
    classes = LevelClasses.from_powers((powers * 10.0 ** (-fader_db / 10.0))[np.newaxis])

    heard = gated_loudness([Part(classes, np.array([[fader_db]]))])
    assert float(heard[0, 0]) == pytest.approx(float(gated_loudness([Part(Powers(powers))])), abs=0.05)


@pytest.mark.parametrize("gain_db", [-50.0, -8.0, 0.0, 15.0, 45.0])
def test_programmes_of_classes_read_what_their_blocks_read_between_silence_and_full_scale(gain_db):
    chance = np.random.default_rng(4)
    rows = 10.0 ** ((np.array([[-60.0], [-23.0], [-3.0]]) + chance.normal(0.0, 4.0, (3, 400))) / 10.0)
    rows[1, ::3] = 0.0
    gains_db = np.array([[gain_db]])

    found = gated_loudness([Part(LevelClasses.from_powers(rows).mixed(np.full((1, 3), 400.0)), gains_db)])

    assert float(found[0, 0]) == pytest.approx(gated(rows.ravel() * 10.0 ** (gain_db / 10.0)), abs=0.05)


@pytest.mark.parametrize("fader_db", [-40.0, -60.0, -120.0])
def test_what_is_too_loud_goes_down_wherever_its_fader_is_told_to_stand(fader_db):
    """11 LU over the target: never up, however far down the fader says it is."""
    heard = mean_square(-12.0) * 10.0 ** (np.random.default_rng(1).normal(0.0, 3.0, 600) / 10.0)
    advisor = LandingAdvisor(load_goal("r128"), 600.0)
    advisor.push(heard, np.full(600, fader_db), np.full(600, -13.0))

    assert advisor.this_pass().gain_db == -6.0
