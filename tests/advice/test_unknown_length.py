"""Advice on a pass whose length is not known: what a whole pass needs, and not what was heard so far."""

import numpy as np
import pytest
from advice_reference import TELEVISION, energy, gained, material

from sidecar.advice import LandingAdvisor


def outlook(programme, gain_db=0.0):
    advisor = LandingAdvisor(TELEVISION)
    advisor.push(gained(programme, gain_db), gain_db)
    return advisor.outlook()


def test_a_soft_opening_is_not_raised_to_the_target():
    """30 s at 15 LU under the target: a rough mix lies within about 6 LU of it (common practice, no source),
    so something louder comes."""
    found = outlook(energy([-38.0] * 300))

    assert found.heard_lu == pytest.approx(-15.0, abs=0.01)
    assert 0.0 <= found.move.gain_db <= 3.0
    left_alone = found.at(0.0)
    assert left_alone.landing_low < -23.0 < left_alone.landing_high


@pytest.mark.parametrize("level_lufs", [-27.0, -19.0])
def test_the_longer_a_level_is_heard_the_more_of_the_way_is_asked_for(level_lufs):
    needed_db = -23.0 - level_lufs
    moves_db = [outlook(energy([level_lufs] * seconds * 10)).move.gain_db for seconds in (10, 60, 600)]

    assert np.all(np.diff(np.abs(moves_db)) > 0.0)
    assert moves_db[-1] == pytest.approx(needed_db, abs=0.3)


@pytest.mark.parametrize("gain_db", [-6.0, 0.0, 4.0])
def test_the_landing_is_that_of_a_whole_pass_with_the_past_at_the_same_gain(gain_db):
    """A move costs nothing: what was played before it counts as at the new position."""
    programme = material(3, 300)
    asked, plain = outlook(programme, gain_db), outlook(programme)

    assert asked.heard_lu == pytest.approx(plain.heard_lu + gain_db, abs=0.01)
    assert asked.at(1.5).landing == pytest.approx(asked.at(0.0).landing + 1.5, abs=0.05)


def test_the_likely_range_narrows_as_more_is_heard():
    programme = material(8, 1200)
    widths = [
        found.landing_high - found.landing_low
        for found in (outlook(programme[: seconds * 10]).at(0.0) for seconds in (20, 120, 1200))
    ]

    assert np.all(np.diff(widths) < 0.0)
    assert widths[0] > 6.0


def test_a_fader_pulled_under_the_gate_is_brought_back():
    """At -60 dB nothing passes the gate any more (BS.1770-5 Annex 1): what was measured says how far up."""
    advisor = LandingAdvisor(TELEVISION)
    advisor.push(energy([-23.0] * 600), 0.0)
    advisor.push(energy([-83.0] * 100), -60.0)

    found = advisor.outlook()

    assert found.move.gain_db == found.from_top.gain_db == 60.0


def test_peaks_hold_a_rise_of_a_pass_of_unknown_length():
    """4 dB too soft for minutes, with peaks 1.5 dB under the ceiling."""
    advisor = LandingAdvisor(TELEVISION)
    advisor.push(energy([-27.0] * 6000), 0.0, np.full(6000, -2.5))

    move = advisor.outlook().move

    assert (move.gain_db, move.limited_by) == (1.5, "ceiling")
    assert move.landing_low < move.landing < move.landing_high < -24.0
