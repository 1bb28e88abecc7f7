"""All advice on one pass: fader reports, late or early, and what an earlier pass is good for."""

import numpy as np
import pytest

from sidecar.advice.programme.advisor import Earlier, ProgrammeAdvisor
from sidecar.model.units import mean_square
from sidecar.settings.goals import load_goal

R128 = load_goal("r128")


def noise(seconds, lufs, seed=1):
    """Block energies that vary a little around one loudness."""
    rng = np.random.default_rng(seed)
    return mean_square(lufs) * 10 ** (rng.normal(0, 0.5, round(seconds * 10)) / 10)


def hear(advisor, energy, gain_db=None):
    for block in energy.reshape(-1, 10):
        advisor.push_blocks(block, np.full(10, -12.0), gain_db)


def test_a_move_that_was_told_costs_the_next_pass_nothing():
    """The person moves 6 dB down in mid-pass and says so: the advice goes on where it was, 6 dB lower."""
    advisor = ProgrammeAdvisor(R128)
    hear(advisor, noise(30, -18))
    before = advisor.next_pass().gain_db
    advisor.fader_moved_by(-6.0)
    hear(advisor, noise(30, -24, seed=2))

    assert advisor.next_pass().gain_db == pytest.approx(before + 6.0, abs=0.15)
    assert advisor.fader_db == -6.0


def test_the_first_feedback_says_where_the_fader_has_stood_all_along():
    """It reports −10 dB without having been moved: no move is made up, and the advice does not change."""
    advisor = ProgrammeAdvisor(R128)
    hear(advisor, noise(30, -18))
    before = advisor.next_pass()
    advisor.fader_stands_at(-10.0)
    hear(advisor, noise(1, -18, seed=3))

    assert advisor.next_pass().gain_db == pytest.approx(before.gain_db, abs=0.1)
    assert advisor.fader_db == -10.0
    assert 10 * np.log10(advisor.material().mean() / mean_square(0.0)) == pytest.approx(-8.0, abs=0.2)


def test_the_faders_own_word_in_each_block_is_taken_as_it_comes():
    """A source that knows its fader shapes the past block by block."""
    advisor = ProgrammeAdvisor(R128)
    for gain_db in (0.0, -3.0, -6.0, 2.0):
        hear(advisor, noise(10, -18 + gain_db, seed=int(10 + gain_db)), gain_db)

    assert advisor.next_pass().gain_db == pytest.approx(-7.0, abs=0.1)


def test_a_fader_at_rest_takes_no_room_however_long_the_source_repeats_it():
    advisor = ProgrammeAdvisor(R128)
    hear(advisor, noise(60, -18), -5.0)
    hear(advisor, noise(60, -15), -2.0)

    assert len(advisor._fader._events) == 2
    assert advisor.fader_db == -2.0


def test_this_pass_needs_a_length_and_ends_with_it():
    """Without one there is no advice for this pass, and none once it is over."""
    without, within = ProgrammeAdvisor(R128), ProgrammeAdvisor(R128, duration_s=60.0)
    hear(without, noise(30, -18))
    hear(within, noise(30, -18))

    assert without.this_pass() is None
    assert within.this_pass().gain_db < -2.0
    hear(within, noise(30, -18, seed=4))
    assert within.this_pass() is None


def gated(energies):
    """ITU-R BS.1770-5 Annex 1, equations 5 to 7, by definition."""
    blocks = np.convolve(energies, np.ones(4) / 4, "valid")
    kept = blocks[blocks > mean_square(-70.0)]
    kept = kept[kept > 0.1 * kept.mean()]
    return 10 * np.log10(kept.mean()) - 0.691


def test_an_earlier_pass_gives_its_length_and_lands_this_one():
    """Loud first half, quieter second: full knowledge of the rest could not land it better."""
    whole = np.concatenate([noise(60, -22), noise(60, -25, seed=5)])
    advisor = ProgrammeAdvisor(R128, earlier=Earlier("before", whole))
    hear(advisor, whole[:600])
    move = advisor.this_pass()

    def landing(gain_db):
        return gated(np.concatenate([whole[:600], whole[600:] * 10 ** (gain_db / 10)]))

    best = min(abs(landing(gain / 10) + 23.0) for gain in range(-200, 201))
    assert advisor.duration_s == 120.0
    assert advisor.fit()[0]
    assert move.landing == pytest.approx(landing(move.gain_db), abs=0.02)
    assert abs(landing(move.gain_db) + 23.0) <= best + 0.1


def test_another_programme_does_not_pass_for_an_earlier_pass():
    """It is said not to fit, and the advice falls back on what was heard."""
    rng = np.random.default_rng(8)
    other = noise(120, -23, seed=6) * 10 ** (np.repeat(rng.normal(0, 6, 24), 50) / 10)
    advisor = ProgrammeAdvisor(R128, earlier=Earlier("other", other))
    hear(advisor, noise(60, -23, seed=7) * 10 ** (np.repeat(rng.normal(0, 6, 12), 50) / 10))
    fits, _, _ = advisor.fit()

    assert not fits
    assert "does not fit" in advisor.this_pass().reason


def test_a_cut_stays_a_cut_when_the_past_is_told_anew():
    """The gating blocks after late feedback are those that were there before it."""
    advisor = ProgrammeAdvisor(R128)
    hear(advisor, noise(10, -18))
    advisor.splice()
    hear(advisor, noise(10, -40, seed=9))
    before = advisor.next_pass()
    advisor.fader_stands_at(0.0)
    after = advisor.next_pass()

    assert before.reason == after.reason
    for name in ("gain_db", "landing", "landing_low", "landing_high"):
        assert getattr(after, name) == pytest.approx(getattr(before, name), abs=1e-6)
