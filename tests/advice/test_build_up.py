"""A rough balance from silence."""

import math

import numpy as np
import pytest
from advice_reference import TELEVISION, gained, integrated
from test_stem_moves import NAMES, heard, stems, under_anchor

from sidecar.advice.faders.tapers import FaderLimits
from sidecar.advice.stems.build_up import CAUTION

UNEVEN = (-20.0, -26.0, -40.0, -10.0)


def levels(steps):
    return np.array([next(step.fader_db for step in steps if step.name == name) for name in NAMES])


def test_the_anchor_comes_first_and_the_rest_by_energy():
    """The voice opens the mix though the drums are louder; then the loudest of the rest."""
    steps = heard(stems(1, UNEVEN), anchor="voice").build_up()

    assert [step.name for step in steps] == ["voice", "drums", "band", "crowd"]


def test_the_last_step_lands_the_mix():
    """With all faders brought up the mix measured anew lies on target."""
    energies = stems(2, UNEVEN)

    steps = heard(energies, anchor="voice").build_up()

    assert TELEVISION.target_lufs == pytest.approx(
        integrated(gained(energies, levels(steps)).sum(axis=1)), abs=0.1
    )
    assert steps[-1].move.landing == pytest.approx(TELEVISION.target_lufs, abs=0.1)


def test_each_step_says_where_the_mix_so_far_lies():
    """The landing of a step is the loudness of all faders that are up by then."""
    energies = stems(3, UNEVEN)

    steps = heard(energies, anchor="voice").build_up()

    for count in range(1, len(steps) + 1):
        up = [NAMES.index(step.name) for step in steps[:count]]
        so_far = integrated(gained(energies[:, up], levels(steps)[up]).sum(axis=1))
        assert so_far == pytest.approx(steps[count - 1].move.landing, abs=0.01)


@pytest.mark.parametrize(("asked_lu", "offset_lu"), [(None, 6.0), (9.0, 9.0)])
def test_the_rest_lies_its_offset_under_the_anchor(asked_lu, offset_lu):
    """The rest as a whole lies as far under the anchor as asked, 6 LU where nothing was asked."""
    energies = stems(4, UNEVEN)

    steps = heard(energies, anchor="voice", offset_lu=asked_lu).build_up()

    assert offset_lu == pytest.approx(under_anchor(gained(energies, levels(steps))), abs=0.1)


def test_the_foreground_opens_a_little_under_the_target():
    """With the rest 6 LU under it the anchor alone lies about 1 LU under the target (Tech 3343 §3.2)."""
    steps = heard(np.full((600, 4), 1e-3), anchor="voice").build_up()

    assert steps[0].move.landing == pytest.approx(-24.0, abs=0.1)


def test_without_an_anchor_all_stems_are_equally_loud():
    """Each stem by itself reads the same."""
    energies = gained(stems(5), 0.0)

    steps = heard(energies).build_up()

    own = [integrated(gained(energies[:, n], level)) for n, level in enumerate(levels(steps))]
    assert own == pytest.approx([own[0]] * 4, abs=0.11)


def test_the_caution_comes_with_the_first_step_only():
    """Before the first fader is opened the monitors come down."""
    steps = heard(stems(6)).build_up()

    assert [step.caution for step in steps] == [CAUTION, "", "", ""]


def test_a_stem_that_would_need_more_than_its_fader_has_is_held():
    """A recording that is far too quiet stops at the top of the range, and the sentence says so."""
    steps = heard(stems(7, (-20.0, -20.0, -20.0, -60.0)), limits=FaderLimits(highest_db=6.0)).build_up()

    last = steps[-1]
    assert (last.name, last.fader_db, last.move.limited_by) == ("drums", 6.0, "range")
    assert "which its fader does not have" in last.move.reason


def test_a_stem_that_was_never_heard_is_left_out():
    """What was never heard cannot be placed."""
    steps = heard(stems(8), faders_db=[0.0, -math.inf, 0.0, 0.0]).build_up()

    assert {step.name for step in steps} == {"voice", "crowd", "drums"}


def test_nothing_heard_means_no_steps():
    """Silence gives no balance."""
    assert heard(np.zeros((100, 4))).build_up() == []
