import math

import numpy as np
import pytest
from advice_reference import energy, integrated, material

from sidecar.loudness.dialogue import DialogueGate, dialogue_loudness
from sidecar.model.dialogue import LEAST_SPEECH_S


def test_dialogue_loudness_is_that_of_the_speech_alone():
    energies = energy([-20.0] * 300 + [-26.0] * 300 + [-20.0] * 300)
    speech = np.array([False] * 300 + [True] * 300 + [False] * 300)

    found = dialogue_loudness(energies, speech, found_by="markers")

    # two gating blocks at each edge reach one or two steps into what is beside the speech
    assert found.dialogue_lufs == pytest.approx(-26.0, abs=0.1)
    assert found.ldr_lu == pytest.approx(integrated(energies) - found.dialogue_lufs, abs=1e-9)
    assert found.speech_share == pytest.approx(1.0 / 3.0)


def test_speech_all_the_time_reads_as_the_programme():
    energies = material(seed=2, seconds=120)

    found = dialogue_loudness(energies, np.ones(len(energies), np.bool_), found_by="stem")

    assert found.dialogue_lufs == pytest.approx(integrated(energies), abs=1e-9)
    assert found.ldr_lu == pytest.approx(0.0, abs=1e-9)
    assert found.confidence == 1.0


def test_a_pause_inside_speech_is_gated_as_in_a_dialogue_stem():
    """Both gates of BS.1770-5 Annex 1 hold inside the speech."""
    energies = energy(([-20.0] * 100 + [-45.0] * 100) * 5)

    found = dialogue_loudness(energies, np.ones(1000, np.bool_), found_by="markers")

    assert found.dialogue_lufs == pytest.approx(integrated(energies), abs=1e-9)


def test_too_little_speech_gives_no_figure():
    speech = np.zeros(600, np.bool_)
    speech[: round(LEAST_SPEECH_S * 10) - 1] = True

    found = dialogue_loudness(energy([-23.0] * 600), speech, found_by="detector")

    assert found.dialogue_lufs == -math.inf
    assert found.ldr_lu == -math.inf
    assert not found.is_measured
    assert found.speech_s == pytest.approx(LEAST_SPEECH_S - 0.1)


@pytest.mark.parametrize("lag", [0, 1, 5, 40])
def test_speech_that_comes_later_in_small_pieces_changes_nothing(lag):
    energies = material(seed=3, seconds=60)
    rng = np.random.default_rng(3)
    speech, probability = rng.uniform(size=600) < 0.5, rng.uniform(size=600)
    gate = DialogueGate("detector")

    for at in range(600 + lag):
        gate.push_energies(energies[at : at + 1])
        gate.push_speech(
            speech[max(at - lag, 0) : max(at - lag + 1, 0)],
            probability[max(at - lag, 0) : max(at - lag + 1, 0)],
        )

    whole = dialogue_loudness(energies, speech, probability, found_by="detector")
    piecewise = gate.result(whole.programme_lufs)
    assert piecewise.dialogue_lufs == pytest.approx(whole.dialogue_lufs, abs=1e-9)
    assert piecewise.speech_s == whole.speech_s
    assert piecewise.confidence == pytest.approx(probability[speech].mean())


def test_no_gating_block_lies_across_a_cut():
    gate = DialogueGate("detector")
    for level_lufs in (-20.0, -60.0):
        gate.push_energies(energy([level_lufs] * 100))
        gate.push_speech(np.ones(99, np.bool_))
        gate.cut()

    found = gate.result(-20.0)

    assert found.dialogue_lufs == pytest.approx(-20.0, abs=1e-9)
    assert found.seconds == pytest.approx(19.8)
