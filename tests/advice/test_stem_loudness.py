"""The loudness of a mix at fader sets that were not played."""

import math

import numpy as np
import pytest
from advice_reference import TELEVISION, energy, gated, integrated
from hypothesis import given, settings
from hypothesis import strategies as st
from stem_reference import mean_products, mix_loudness, mixed, stereo_stems, true_peaks

from sidecar.advice import StemAdvisor
from sidecar.errors import SettingsError, SignalError

NAMES = tuple("abcdefgh")


@pytest.fixture(scope="module")
def audio():
    return stereo_stems(8, 20, seed=7)


def metered(audio, faders_db):
    """An advisor that heard *audio* through faders that may differ in each block, (blocks, stems)."""
    products = mean_products(audio)
    amplitude = 10.0 ** (np.broadcast_to(faders_db, products.shape[:2]) / 20.0)
    advisor = StemAdvisor(NAMES[: len(audio)], TELEVISION)
    advisor.push(
        products * amplitude[:, :, None] * amplitude[:, None, :], np.broadcast_to(faders_db, amplitude.shape)
    )
    return advisor


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_any_fader_set_reads_as_if_remixed_and_measured_again(audio, seed):
    """Eight stems that share a room, heard through moving faders: any other set within 0.01 LU of a remix."""
    rng = np.random.default_rng(seed)
    advisor = metered(audio, rng.uniform(-30.0, 10.0, (200, 8)))
    faders_db = rng.uniform(-40.0, 10.0, 8)

    assert mix_loudness(audio, faders_db) == pytest.approx(advisor.loudness(faders_db), abs=0.01)


@pytest.mark.slow
def test_what_stems_share_counts(audio):
    """Adding energies as if stems had nothing in common would miss by more than 0.3 LU here."""
    faders_db = np.zeros(8)
    unrelated = np.einsum("bii->b", mean_products(audio))

    assert abs(integrated(unrelated) - mix_loudness(audio, faders_db)) > 0.3
    assert mix_loudness(audio, faders_db) == pytest.approx(
        metered(audio, faders_db).loudness(faders_db), abs=0.01
    )


def test_a_stem_and_its_inverse_cancel():
    """Two stems of opposite polarity at one level leave silence."""
    one = stereo_stems(1, 5, seed=1)
    advisor = metered(np.concatenate([one, -one]), np.zeros(2))

    assert advisor.loudness([0.0, 0.0]) < -70.0 or math.isinf(advisor.loudness([0.0, 0.0]))
    assert mix_loudness(one, [-6.0]) == pytest.approx(advisor.loudness([-6.0, -math.inf]), abs=0.01)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(-20.0, 10.0), min_size=3, max_size=3), st.integers(0, 99))
def test_the_gates_are_set_anew_for_every_fader_set(faders_db, seed):
    """Unrelated stems of random phrases: the same as a block-by-block computation of BS.1770's gates."""
    energies = energy(np.random.default_rng(seed).choice([-75.0, -45.0, -25.0], size=(60, 3)))
    advisor = StemAdvisor(NAMES[:3], TELEVISION)
    advisor.push(np.einsum("bi,ij->bij", energies, np.eye(3)), np.zeros(3))

    mix = energies @ 10.0 ** (np.array(faders_db) / 10.0)
    assert integrated(mix) == pytest.approx(advisor.loudness(faders_db), abs=0.01)


def test_blocks_one_by_one_read_as_all_at_once():
    """Pushing single blocks and pushing arrays give the same loudness."""
    products = mean_products(stereo_stems(3, 5, seed=3))
    together, single = StemAdvisor(NAMES[:3], TELEVISION), StemAdvisor(NAMES[:3], TELEVISION)
    together.push(products, np.zeros(3))
    for block in products:
        single.push(block, np.zeros(3))

    assert together.loudness(np.ones(3)) == single.loudness(np.ones(3))


def test_passages_in_which_a_stem_was_closed_are_left_out():
    """What a closed fader hid is unknown: only passages where the stem could be heard are reckoned with."""
    energies = energy(np.full((200, 2), -23.0))
    faders_db = np.zeros((200, 2))
    faders_db[:100, 1] = -math.inf
    heard = np.where(np.isinf(faders_db), 0.0, energies)
    advisor = StemAdvisor(("lead", "band"), TELEVISION)
    advisor.push(np.einsum("bi,ij->bij", heard, np.eye(2)), faders_db)

    assert pytest.approx([advisor.loudness([0.0, 0.01]), advisor.loudness([0.0, -math.inf])], abs=0.02) == [
        -20.0,
        -23.0,
    ]


def test_no_gating_block_spans_a_pause():
    """After a splice the next block starts a run of its own: 2 loud gating blocks and 6 quiet ones."""
    loud, quiet = np.full((5, 1, 1), energy(-20.0)), np.full((9, 1, 1), energy(-28.0))
    advisor = StemAdvisor(("mix",), TELEVISION)
    advisor.push(loud, np.zeros(1))
    advisor.splice()
    advisor.push(quiet, np.zeros(1))

    apart = gated([energy(-20.0)] * 2 + [energy(-28.0)] * 6)
    assert apart == pytest.approx(advisor.loudness([0.0]), abs=0.001)


@pytest.fixture(scope="module")
def peaked():
    audio = stereo_stems(4, 5, seed=11) * 4.0
    advisor = StemAdvisor(NAMES[:4], TELEVISION)
    faders_db = np.array([0.0, -3.0, 2.0, -6.0])
    amplitude = 10.0 ** (faders_db / 20.0)
    advisor.push(
        mean_products(audio) * np.outer(amplitude, amplitude),
        faders_db,
        true_peaks(audio).T + faders_db,
        true_peaks(mixed(audio, faders_db)),
    )
    return audio, advisor, faders_db


@pytest.mark.parametrize("seed", range(20))
def test_no_remix_peaks_over_the_bound(peaked, seed):
    """Whatever the faders, the true peak of the remixed audio stays under what was promised."""
    audio, advisor, faders_db = peaked
    rng = np.random.default_rng(seed)
    moved_db = faders_db + rng.uniform(-6.0, 6.0, 4) * rng.integers(0, 2, 4)

    assert true_peaks(mixed(audio, moved_db)).max() <= advisor.peak_bound_dbtp(moved_db) + 1e-4


def test_the_bound_is_the_peak_itself_when_all_faders_move_alike(peaked):
    """One gain on everything scales the known peak of the mix: no bound is needed."""
    audio, advisor, faders_db = peaked

    assert true_peaks(mixed(audio, faders_db + 2.5)).max() == pytest.approx(
        advisor.peak_bound_dbtp(faders_db + 2.5), abs=1e-3
    )


@pytest.mark.slow
def test_a_small_move_of_one_fader_is_bounded_close_to_the_known_peak(peaked):
    """The bound starts from the peak of the mix, not from the sum of all stems: far tighter for one dB."""
    audio, advisor, faders_db = peaked
    moved_db = faders_db + np.array([1.0, 0.0, 0.0, 0.0])
    stem_sum = 10.0 ** ((true_peaks(audio).T + moved_db) / 20.0)

    assert advisor.peak_bound_dbtp(moved_db) < 20.0 * math.log10(stem_sum.sum(axis=1).max()) - 1.0


@pytest.mark.slow
def test_an_unmeasured_peak_is_never_promised(audio):
    """Without true peaks the bound is infinite."""
    assert math.inf == metered(audio, np.zeros(8)).peak_bound_dbtp(np.zeros(8))


@pytest.mark.parametrize(
    ("names", "held"),
    [((), {}), (("a", "a"), {}), (("a", ""), {}), (("a", "b"), {"anchor": "c"}), (("a",), {"keep": ("z",)})],
)
def test_names_must_be_there_single_and_known(names, held):
    """No names, double names, and anchors or keeps that are no stem are refused."""
    with pytest.raises(SettingsError, match=r"stem|Stems"):
        StemAdvisor(names, TELEVISION, **held)


@pytest.mark.parametrize(
    ("covariance", "gains_db", "peaks"),
    [
        (np.zeros((3, 3)), np.zeros(2), None),
        (np.full((2, 2), math.nan), np.zeros(2), None),
        (-np.eye(2), np.zeros(2), None),
        (np.eye(2), np.zeros(3), None),
        (np.eye(2), [0.0, math.nan], None),
        (np.eye(2), [0.0, math.inf], None),
        (np.eye(2), np.zeros(2), [0.0]),
    ],
)
def test_values_that_no_meter_gives_are_refused(covariance, gains_db, peaks):
    """Wrong shapes, NaN, negative energies and infinite levels are refused and nothing is kept."""
    advisor = StemAdvisor(("a", "b"), TELEVISION)

    with pytest.raises(SignalError):
        advisor.push(covariance, gains_db, peaks)
    assert advisor.loudness([0.0, 0.0]) == -math.inf
