"""Which of several faders to move."""

import dataclasses
import math

import numpy as np
import pytest
from advice_reference import TELEVISION, energy, gained, integrated, material

from sidecar.advice import StemAdvisor
from sidecar.advice.faders.tapers import FaderLimits
from sidecar.advice.stems.history import StemHistory
from sidecar.advice.stems.steady import SteadyStems
from sidecar.model.advice import Advice
from sidecar.model.readings import Move

NAMES = ("voice", "band", "crowd", "drums")
LEVELS = (-24.0, -28.0, -33.0, -38.0)


def stems(seed, levels_lufs=LEVELS, seconds=120):
    """Energies of unrelated stems, (blocks, stems)."""
    return np.stack([material(seed + 100 * n, seconds, level) for n, level in enumerate(levels_lufs)], axis=1)


def heard(energies, goal=TELEVISION, faders_db=0.0, peaks_dbtp=None, mix_peak_dbtp=None, **settings):
    """An advisor that heard unrelated stems after faders that stood at *faders_db*."""
    faders_db = np.broadcast_to(np.asarray(faders_db, dtype=float), energies.shape[1:])
    advisor = StemAdvisor(NAMES[: energies.shape[1]], goal, **settings)
    after = gained(energies, faders_db)
    advisor.push(np.einsum("bi,ij->bij", after, np.eye(after.shape[1])), faders_db, peaks_dbtp, mix_peak_dbtp)
    return advisor


def landing(energies, moves, faders_db=0.0):
    """The mix measured the long way with the moves made."""
    changes_db = np.array([moves[name].gain_db if name in moves else 0.0 for name in NAMES])
    return integrated(gained(energies, faders_db + changes_db[: energies.shape[1]]).sum(axis=1))


def goal_near(energies, offset_lu):
    """A goal so far above what the mix is."""
    return dataclasses.replace(TELEVISION, target_lufs=integrated(energies.sum(axis=1)) + offset_lu)


def nearest_single(energies, goal, limits):
    """Brute force: the least dB by which one fader alone lands, or None."""
    steps = np.arange(-limits.step_down_db * 10, limits.step_up_db * 10 + 1) / 10.0
    fitting = [
        abs(step)
        for stem in range(energies.shape[1])
        for step in steps
        if abs(
            integrated(gained(energies, step * np.eye(energies.shape[1])[stem]).sum(axis=1))
            - goal.target_lufs
        )
        <= 0.055
    ]
    return min(fitting, default=None)


@pytest.mark.parametrize("offset_lu", [-6.0, -3.0, -1.5, -0.5, 0.6, 1.2, 2.5])
@pytest.mark.parametrize("seed", range(3))
def test_moves_land_the_mix(seed, offset_lu):
    """With all moves made, the mix measured anew lies on target and where the moves said."""
    energies = stems(seed)
    goal = goal_near(energies, offset_lu)

    moves = heard(energies, goal).moves()

    truth = landing(energies, moves)
    assert goal.target_lufs == pytest.approx(truth, abs=0.12)
    assert {round(truth, 2)} == {round(move.landing, 2) for move in moves.values()}


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "offset_lu"), [(0, -1.0), (1, 0.7), (2, -1.2), (3, 1.3), (4, -0.4)])
def test_one_fader_is_enough_where_one_can_do_it_and_it_moves_least(seed, offset_lu):
    """Where trying every tenth on every fader finds a single move, one of the same size is advised."""
    energies = stems(seed, seconds=40)
    goal = goal_near(energies, offset_lu)

    moves = heard(energies, goal).moves()

    least_db = nearest_single(energies, goal, FaderLimits())
    assert least_db is not None
    assert [abs(move.gain_db) for move in moves.values()] == [pytest.approx(least_db, abs=0.11)]


@pytest.mark.slow
def test_two_faders_move_where_one_is_not_enough():
    """Two steady stems at -26.0 LUFS each, 1.5 LU too quiet: one goes up by 2 dB, as far as a few faders go
    against the others, and the other by 10·log10(2·10^0.15 - 10^0.2) = 0.9 dB."""
    energies = np.broadcast_to(energy([-26.0, -26.0, -70.0, -70.0]), (400, 4))
    goal = goal_near(energies, 1.5)

    moves = heard(energies, goal).moves()

    assert nearest_single(energies, goal, FaderLimits(step_up_db=2.0)) is None
    assert set(moves) == {"voice", "band"}
    assert sorted(move.gain_db for move in moves.values()) == [pytest.approx(0.9, abs=0.11), 2.0]


def test_two_equal_faders_come_down_alike():
    """Two steady stems 1.5 LU too loud, which neither can do alone by 2 dB."""
    energies = np.broadcast_to(energy([-16.0, -16.0, -80.0, -80.0]), (400, 4))

    moves = heard(energies, goal_near(energies, -1.5)).moves()

    assert {name: move.gain_db for name, move in moves.items()} == {"voice": -1.5, "band": -1.5}


@pytest.mark.parametrize("offset_lu", [2.5, -4.0])
def test_a_mix_that_is_far_off_keeps_its_balance(offset_lu):
    """The voice is nearly all of the mix and could land it alone, by a new balance."""
    energies = np.broadcast_to(energy([-26.0, -46.0, -46.0, -50.0]), (400, 4))

    moves = heard(energies, goal_near(energies, offset_lu)).moves()

    assert {name: move.gain_db for name, move in moves.items()} == dict.fromkeys(NAMES, offset_lu)


def test_moves_come_in_tenths():
    """Every move is a whole number of tenths of a decibel."""
    energies = stems(6)

    for move in heard(energies, goal_near(energies, -1.37)).moves().values():
        assert round(move.gain_db * 10) == pytest.approx(move.gain_db * 10, abs=1e-9)


def test_a_mix_inside_the_tolerance_is_left_alone():
    """Inside ±0.2 LU do nothing (Tech 3343 §3.2)."""
    energies = stems(7)

    assert heard(energies, goal_near(energies, 0.15)).moves() == {}


def test_nothing_is_advised_before_three_seconds_are_heard():
    """Advice waits for one short-term window of programme above the gate."""
    assert heard(stems(8)[:20], goal_near(stems(8), 3.0)).moves() == {}
    assert StemAdvisor(NAMES, TELEVISION).moves() == {}


@pytest.mark.parametrize(
    "settings", [{"keep": ("voice",)}, {"anchor": "voice"}, {"anchor": "voice", "keep": ("band",)}]
)
def test_what_is_held_stays_where_it_is(settings):
    """Neither a kept stem nor the anchor is moved, though the voice is the easiest way to land."""
    energies = stems(9, (-24.0, -25.0, -25.0, -26.0))
    goal = goal_near(energies, -1.0)

    moves = heard(energies, goal, **settings).moves()

    assert moves
    assert set(moves).isdisjoint({"voice", *settings.get("keep", ())})
    assert goal.target_lufs == pytest.approx(landing(energies, moves), abs=0.1)


def test_a_closed_fader_is_not_opened():
    """A stem that is pulled down stays down."""
    energies = stems(10)
    faders_db = np.array([0.0, -math.inf, 0.0, 0.0])

    moves = heard(energies, dataclasses.replace(TELEVISION, target_lufs=-14.0), faders_db).moves()

    assert set(moves) == {"voice", "crowd", "drums"}


def test_far_too_loud_comes_down_together():
    """10 dB over: every fader comes down alike, so the balance stays, and it lands in one go."""
    energies = stems(11)

    moves = heard(energies, goal_near(energies, -10.0)).moves()

    assert {move.gain_db for move in moves.values()} == {-10.0}
    assert set(moves) == set(NAMES)
    assert moves["voice"].reason.startswith("Everything down 10.0 dB together.")


def test_far_too_quiet_rises_by_one_step_only():
    """10 dB under: one step up of all, marked as cut by the step."""
    energies = stems(12)

    moves = heard(energies, goal_near(energies, 10.0)).moves()

    assert {(move.gain_db, move.limited_by) for move in moves.values()} == {(3.0, "step")}
    assert landing(energies, moves) == pytest.approx(moves["band"].landing, abs=0.01)


def test_a_rise_of_all_ends_where_the_first_fader_ends():
    """The highest fader has 0.4 dB left: all rise by that, so that the balance stays."""
    energies = stems(13)
    faders_db = np.array([9.6, 0.0, 0.0, 0.0])
    advisor = heard(energies, dataclasses.replace(TELEVISION, target_lufs=0.0), faders_db)

    assert {(move.gain_db, move.limited_by) for move in advisor.moves().values()} == {(0.4, "range")}


def test_what_is_kept_too_loud_is_named():
    """With a kept stem over the target by itself no move helps, and it is named."""
    energies = stems(14, (-14.0, -40.0, -40.0, -40.0))

    moves = heard(energies, keep=("voice",)).moves()

    assert [(move.gain_db, move.limited_by) for move in moves.values()] == [(0.0, "range")]
    assert moves["voice"].reason == "The stems left to move cannot land the mix: voice is held."


def under_anchor(energies, gains_db=0.0):
    """How far the rest lies under the voice while the voice passes its own gate, LU."""
    voice, rest = energies[:, 0], gained(energies[:, 1:], gains_db).sum(axis=1)
    blocks = np.convolve(voice, np.ones(4), "valid") / 4.0
    kept = blocks > energy(-70.0)
    kept &= blocks > 0.1 * blocks[kept].mean()
    rest_blocks = np.convolve(rest, np.ones(4), "valid") / 4.0
    return 10.0 * math.log10(blocks[kept].sum() / rest_blocks[kept].sum())


@pytest.mark.parametrize("offset_lu", [4.0, 6.0, 9.0])
def test_the_rest_is_brought_under_the_anchor(offset_lu):
    """All but the anchor move alike until they lie the offset under it while it sounds."""
    energies = stems(15, (-24.0, -30.0, -31.0, -32.0))

    moves = heard(energies, anchor="voice", offset_lu=offset_lu).moves()

    changes = {move.gain_db for move in moves.values()}
    assert set(moves) == {"band", "crowd", "drums"}
    assert len(changes) == 1
    assert offset_lu == pytest.approx(under_anchor(energies, changes.pop()), abs=0.06)


@pytest.mark.parametrize(("rest_lufs", "step_db"), [(-24.0, -6.0), (-50.0, 3.0)])
def test_a_balance_is_brought_about_by_a_step_at_a_time(rest_lufs, step_db):
    """Whatever the offset needs: down 6 dB, or up 3 dB, of all but the anchor."""
    moves = heard(stems(15, (-24.0, *[rest_lufs] * 3)), anchor="voice", offset_lu=12.0).moves()

    assert {(move.gain_db, move.limited_by) for move in moves.values()} == {(step_db, "step")}
    assert set(moves) == {"band", "crowd", "drums"}


def test_once_balanced_the_anchor_is_not_moved_and_named():
    """The balance is right and the mix 2 LU too loud: only the master fader can land it with an anchor that
    stays."""
    energies = stems(16)

    moves = heard(
        energies, goal_near(energies, -2.0), anchor="voice", offset_lu=under_anchor(energies) + 0.2
    ).moves()

    assert {name: move.gain_db for name, move in moves.items()} == {"voice": 0.0}
    assert moves["voice"].reason == "voice holds the balance: only the master fader can land the mix."


def test_a_kept_stem_that_stands_in_the_way_of_the_balance_is_named():
    """The band, kept, is as loud as the voice by itself: nothing can bring the rest 6 LU under it."""
    energies = stems(17, (-24.0, -24.0, -40.0, -40.0))

    moves = heard(energies, anchor="voice", keep=("band",), offset_lu=6.0).moves()

    assert {name: move.gain_db for name, move in moves.items()} == {"band": 0.0}
    assert moves["band"].reason == "The balance cannot be 6.0 LU under voice: band is held."


def late(seconds, seed=31):
    """The third stem comes in so many seconds before the end of a minute."""
    energies = stems(seed, (-24.0, -25.0, -18.0, -40.0), 60)
    energies[: -round(seconds * 10), 2] = 0.0
    return energies


def test_a_stem_of_which_little_was_heard_is_not_advised_on():
    """The crowd is loudest and the cheapest to move, and 9 s of it are not its level."""
    early, later = (heard(late(seconds), goal_near(late(seconds), -0.8)).moves() for seconds in (9, 25))

    assert "crowd" not in early
    assert set(later) == {"crowd"}


def test_where_others_cannot_land_the_mix_a_stem_that_came_late_goes_with_all():
    """6 dB down is more than the rest can do. All alike is what the master fader would do: none waits."""
    moves = heard(late(9), goal_near(late(9), -6.0)).moves()

    assert {name: move.gain_db for name, move in moves.items()} == dict.fromkeys(NAMES, -6.0)


def test_beside_a_held_stem_one_that_came_late_is_not_moved_yet():
    """All but the voice would be another balance against it, and the crowd's level is not known for that."""
    moves = heard(late(9), goal_near(late(9), -6.0), keep=("voice",)).moves()

    assert [move.gain_db for move in moves.values()] == [0.0]
    assert next(iter(moves.values())).reason == "Less than 10 s of crowd were heard."


def test_the_stems_of_the_last_advice_stay_until_others_need_far_less():
    """Voice and band lie close: the band, once chosen, stays; the drums, far too quiet, do not."""
    energies = np.broadcast_to(energy([-26.0, -26.3, -33.0, -38.0]), (400, 4))
    advisor = heard(energies, goal_near(energies, -0.7))

    assert set(advisor.moves()) == {"voice"}
    assert set(advisor.moves(latest=("band",))) == {"band"}
    assert set(advisor.moves(latest=("drums",))) == {"voice"}


def test_stems_that_were_to_be_moved_together_stay_together():
    """Less is asked for than before, which the voice alone could do: the balance is not broken for it."""
    energies = stems(11)
    advisor = heard(energies, goal_near(energies, -1.0))

    assert len(advisor.moves()) == 1
    assert set(advisor.moves(latest=NAMES)) == set(NAMES)


def test_no_two_faders_go_as_far_as_they_may_without_the_others():
    """Voice and band up 2 dB and the crowd by little would be the least sum: all go up alike."""
    energies = np.broadcast_to(energy([-26.0, -26.0, -30.0, -60.0]), (400, 4))

    moves = heard(energies, goal_near(energies, 1.9)).moves()

    assert {name: move.gain_db for name, move in moves.items()} == dict.fromkeys(NAMES[:3], 1.9)


def test_stems_make_the_move_that_the_master_fader_would():
    """Advice on the pass that plays: the mix changes as by 1.3 dB on the master fader, and lands where that
    would."""
    energies = stems(22)
    whole = Move(-1.3, -22.8, -23.2, -22.4, reason="The programme is loud so far.")

    moves = heard(energies).moves(whole)

    changed_lu = landing(energies, moves) - integrated(energies.sum(axis=1))
    assert changed_lu == pytest.approx(-1.3, abs=0.1)
    assert {(move.landing, move.landing_low, move.landing_high) for move in moves.values()} == {
        (-22.8, -23.2, -22.4)
    }
    assert all(move.reason.endswith("dB. The programme is loud so far.") for move in moves.values())


def test_a_part_of_the_mix_comes_down_by_one_step():
    """The voice is kept and nearly too loud by itself: the rest is not buried, it comes down by one step."""
    energies = np.broadcast_to(energy([-23.2, -24.0, -24.0, -24.0]), (400, 4))

    moves = heard(energies, keep=("voice",)).moves()

    assert {(move.gain_db, move.limited_by) for move in moves.values()} == {(-6.0, "step")}
    assert moves["band"].reason.startswith("Everything but voice down 6.0 dB together")


def test_a_balance_comes_before_the_landing_and_says_so():
    """While the rest is off its offset, the sentence names the balance; the landing comes after."""
    moves = heard(stems(15, (-24.0, -24.0, -25.0, -26.0)), anchor="voice", offset_lu=6.0).moves()

    assert "First the balance, 6.0 LU under voice." in moves["band"].reason


def peaked(energies, offset_lu, mix_peak_dbtp, stem_peak_dbtp=-12.0, **settings):
    goal = goal_near(energies, offset_lu)
    return heard(energies, goal, 0.0, np.full(energies.shape, stem_peak_dbtp), mix_peak_dbtp, **settings)


def test_a_rise_of_everything_is_cut_to_the_known_peak():
    """The mix peaks at -2.5 dBTP under a ceiling of -1.0: of 3 dB more, 1.5 dB are left, exactly."""
    energies = stems(17)

    moves = peaked(energies, 3.0, -2.5, limits=FaderLimits(step_up_db=3.0)).moves()

    assert {(move.gain_db, move.limited_by) for move in moves.values()} == {(1.5, "ceiling")}
    assert landing(energies, moves) == pytest.approx(moves["voice"].landing, abs=0.01)


def test_a_single_move_that_could_pass_the_ceiling_says_so_and_promises_nothing():
    """Of one fader's rise only a bound is known: the move stays, marked, and the sentence says at most."""
    moves = peaked(stems(18), 0.6, -1.1).moves()

    assert [(move.limited_by, "may reach, at most," in move.reason) for move in moves.values()] == [
        ("ceiling", True)
    ]
    assert all(move.gain_db > 0.0 for move in moves.values())


def test_a_single_move_under_the_ceiling_is_not_marked():
    """With room for whatever the peaks do, nothing is said about them."""
    moves = peaked(stems(18), 0.6, -9.0).moves()

    assert [move.limited_by for move in moves.values()] == [None]
    assert "eak" not in moves["voice"].reason


def test_a_rise_on_unmeasured_peaks_says_that_they_are_unknown():
    """Without true peaks an upward move is advised with a word of warning."""
    energies = stems(19)

    assert "True peak was not measured" in heard(energies, goal_near(energies, 0.7)).moves()["voice"].reason


def test_a_move_in_mid_pass_costs_nothing():
    """Faders that moved during the pass do not spoil the advice: it lands from their present positions."""
    energies = stems(20)
    faders_db = np.repeat(np.random.default_rng(20).uniform(-9.0, 6.0, (12, 4)), 100, axis=0)
    advisor = StemAdvisor(NAMES, dataclasses.replace(TELEVISION, target_lufs=-25.0))
    after = gained(energies, faders_db)
    advisor.push(np.einsum("bi,ij->bij", after, np.eye(4)), faders_db)

    truth = landing(energies, advisor.moves(), faders_db[-1])
    assert truth == pytest.approx(-25.0, abs=0.1)


def test_the_band_holds_the_landing():
    """The 90 % band lies round the landing."""
    energies = stems(21)

    for move in heard(energies, goal_near(energies, -1.5)).moves().values():
        assert move.landing_low < move.landing < move.landing_high


def test_a_plan_that_changes_the_mix_by_other_than_was_asked_lands_where_the_forecast_says():
    """The rest goes down 6 dB for the balance, though the mix was to come down by 1 dB. A decibel changes the
    landing by 0.2 LU, as late in a pass."""
    energies = stems(15, (-24.0, -24.0, -25.0, -26.0))
    advisor = heard(energies, anchor="voice", offset_lu=12.0)

    moves = advisor.moves(
        Move(-1.0, -22.0, -22.2, -21.8), land=lambda gain_db: Move(gain_db, -21.8 + 0.2 * gain_db)
    )

    changed_lu = landing(energies, moves) - integrated(energies.sum(axis=1))
    assert changed_lu < -3.0
    assert moves["band"].landing == pytest.approx(-21.8 + 0.2 * changed_lu, abs=0.03)


def test_ten_seconds_that_came_block_by_block_are_ten_seconds():
    """Tenths of a second do not add up in binary."""
    history = StemHistory(1)
    for _ in range(100):
        history.push(np.full((1, 1, 1), 0.01), np.zeros((1, 1)), None, None)

    assert history.heard_s == [10.0]


def test_why_no_stem_is_to_move_changes_with_the_cause():
    """What was missing at one look is there at the next."""

    class Answers:
        def __init__(self, *reasons):
            self.reasons = list(reasons)

        def moves(self, *_):
            return {"voice": Move(0.0, reason=self.reasons.pop(0))}

    steady = SteadyStems(Answers("Less than 10 s were heard.", "The voice is held."))
    steady.update(Advice("hold", next_look_at_s=10.0))
    steady.update(Advice("hold", next_look_at_s=20.0))

    assert steady.moves["voice"].reason == "The voice is held."
