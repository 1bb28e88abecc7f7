"""The band of a landing of which no earlier pass is known, on invented programmes of two laws."""

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from advice_reference import TELEVISION, gained

from sidecar.advice import LandingAdvisor
from sidecar.loudness.gating import Part, Powers, gated_loudness, gating_powers

sys.path.append(str(Path(__file__).parents[1] / "benchmarks"))
from landing_floors import SETS, programme

KINDS = [kind for kinds in SETS.values() for kind in kinds if kind != "arch"]
"""Without the arch, whose end no forecast can know."""
PROGRAMMES = range(7000, 7040)
"""Seeds by which no figure was chosen."""
HEARD = (0.1, 0.3, 0.6, 0.85)
"""Shares of the pass after which a look is taken."""


def holds(material, share):
    """Whether the band holds the landing, if the advised move is made and the fader then left."""
    now = int(share * len(material))
    advisor = LandingAdvisor(TELEVISION, len(material) / 10)
    advisor.push(material[:now], 0.0)
    move = advisor.this_pass()
    metered = np.concatenate([material[:now], gained(material[now:], move.gain_db)])
    landing = gated_loudness([Part(Powers(gating_powers(metered)))])
    return move.landing_low <= landing <= move.landing_high


@cache
def held(kind):
    """Whether the band held, shape (programmes, looks)."""
    materials = [programme(kind, seed) for seed in PROGRAMMES]
    return np.array([[holds(material, share) for share in HEARD] for material in materials])


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_the_band_holds_nine_landings_in_ten(kind):
    """On each kind of either law the band holds 85 to 95 % of the landings. (Looks at one programme depend
    on each other, so 40 programmes give the share to 2 to 5 %.)"""
    assert 0.85 <= np.mean(held(kind)) <= 0.95


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_the_band_holds_early_and_late(kind):
    """At each look it holds 70 % of the landings at least: 79 %, what songs that creep have in mid-pass, less
    what chance makes of 40 programmes, a standard deviation of 6 %, one and a half times."""
    assert np.min(np.mean(held(kind), axis=0)) >= 0.70


@pytest.mark.parametrize("kind", KINDS)
def test_the_band_says_something(kind):
    """It narrows with what is heard: at 85 % of a pass it is under a quarter as wide as at 10 %."""
    materials = [programme(kind, seed) for seed in PROGRAMMES[:6]]

    early, late = (np.median([width_lu(material, share) for material in materials]) for share in (0.1, 0.85))

    assert late < 0.25 * early


def width_lu(material, share):
    """Of the band after that share of the pass."""
    advisor = LandingAdvisor(TELEVISION, len(material) / 10)
    advisor.push(material[: int(share * len(material))], 0.0)
    move = advisor.this_pass()
    return move.landing_high - move.landing_low
