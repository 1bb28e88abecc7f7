"""The rest of the stems brought to a loudness-to-dialogue ratio."""

import numpy as np
import pytest
from advice_reference import TELEVISION, energy, gained, integrated, material

from sidecar.advice import StemAdvisor

NAMES = ("voice", "band", "crowd", "drums")


def stems(seed, levels_lufs):
    return np.stack([material(seed + 100 * n, 120, level) for n, level in enumerate(levels_lufs)], axis=1)


def heard(energies, faders_db, ldr_lu, **settings):
    advisor = StemAdvisor(NAMES, TELEVISION, anchor="voice", ldr_lu=ldr_lu, **settings)
    after = gained(energies, faders_db)
    advisor.push(np.einsum("bi,ij->bij", after, np.eye(4)), faders_db)
    return advisor


def measured_ldr(energies, faders_db):
    """The mix less its voice, each measured the long way (R 128 s4 in Tech 3343 §9.4)."""
    after = gained(energies, faders_db)
    return integrated(after.sum(axis=1)) - integrated(after[:, 0])


def settled(energies, ldr_lu, faders_db, **settings):
    """Faders after the advice was followed until none is left for the balance."""
    for _ in range(8):
        moves = heard(energies, faders_db, ldr_lu, **settings).moves()
        changes_db = np.array([moves[name].gain_db if name in moves else 0.0 for name in NAMES])
        if not changes_db.any():
            break
        faders_db += changes_db
    return faders_db, moves


@pytest.mark.parametrize("ldr_lu", [1.0, 3.0, 5.0, 8.0])
@pytest.mark.parametrize("seed", range(3))
def test_the_rest_is_brought_to_the_ratio(seed, ldr_lu):
    energies = stems(seed, (-25.0, -27.0, -30.0, -34.0))

    faders_db, moves = settled(energies, ldr_lu, np.zeros(4))

    assert measured_ldr(energies, faders_db) == pytest.approx(ldr_lu, abs=0.2)
    assert faders_db[0] == 0.0
    assert np.ptp(faders_db[1:]) == pytest.approx(0.0, abs=1e-9)
    assert moves["voice"].reason == "voice holds the balance: only the master fader can land the mix."


@pytest.mark.parametrize(("ldr_lu", "gain_db", "limit"), [(4.0, 1.8, None), (5.0, 3.0, "step")])
def test_the_rest_moves_by_what_the_arithmetic_gives(ldr_lu, gain_db, limit):
    """Steady stems, the voice and the rest at -24 LUFS each: LDR 3.0 LU. For 4 LU the rest must carry
    10^0.4 - 1 of the voice's energy, which is 1.8 dB up; for 5 LU 3.3 dB, of which one step allows 3."""
    energies = np.broadcast_to(energy([-24.0, -24.0, -80.0, -80.0]), (400, 4))

    moves = heard(energies, np.zeros(4), ldr_lu).moves()

    assert {(move.gain_db, move.limited_by) for move in moves.values()} == {(gain_db, limit)}
    assert f"First the balance, LDR {ldr_lu} LU with voice." in moves["band"].reason
    assert "voice" not in moves


@pytest.mark.parametrize("ldr_lu", [1.0, 5.0])
def test_a_rough_balance_from_silence_has_the_ratio_and_lands_the_mix(ldr_lu):
    energies = stems(7, (-30.0, -27.0, -30.0, -25.0))

    steps = heard(energies, np.zeros(4), ldr_lu).build_up()

    faders_db = np.array([next(step.fader_db for step in steps if step.name == name) for name in NAMES])
    assert steps[0].name == "voice"
    assert measured_ldr(energies, faders_db) == pytest.approx(ldr_lu, abs=0.15)
    assert integrated(gained(energies, faders_db).sum(axis=1)) == pytest.approx(-23.0, abs=0.1)


def test_a_ratio_that_what_is_held_prevents_says_so():
    energies = np.broadcast_to(energy([-26.0, -20.0, -40.0, -40.0]), (400, 4))

    moves = heard(energies, np.zeros(4), 2.0, keep=("band",)).moves()

    assert [(move.gain_db, move.reason) for move in moves.values()] == [
        (0.0, "The balance cannot be LDR 2.0 LU with voice: band is held.")
    ]


def test_no_ratio_is_advised_before_the_dialogue_is_heard_for_ten_seconds():
    energies = np.broadcast_to(energy([-80.0, -20.0, -30.0, -30.0]), (400, 4))

    assert heard(energies, np.zeros(4), 5.0).moves() == {}
