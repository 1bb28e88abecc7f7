"""Guesses at fader moves."""

import math

import numpy as np
import pytest
from advice_reference import energy

from sidecar.advice.faders.history import FaderHistory
from sidecar.advice.faders.move_detector import Guess, MoveDetector
from sidecar.errors import SignalError


def stems(seed=1, seconds=120, spread_db=1.5):
    """Levels of four steady stems with a beat, LUFS, (blocks, 4)."""
    rng = np.random.default_rng(seed)
    beat = np.tile([6.0, 0.0, -4.0, 1.0, -6.0], seconds * 2)[:, None] * [1.0, 0.5, -0.5, 0.1]
    return rng.normal([-24.0, -28.0, -30.0, -33.0], spread_db, (seconds * 10, 4)) + beat


def moved(levels, time_s, change_db, length_s=0.3):
    """A master move: all stems alike."""
    time = np.arange(len(levels)) / 10.0
    return levels + change_db * np.clip((time - time_s) / length_s, 0.0, 1.0)[:, None]


def guesses(levels, least_confidence=0.8):
    return MoveDetector(levels.shape[1], least_confidence).push(energy(levels))


@pytest.mark.parametrize("change_db", [-6.0, -2.0, 2.0, 4.0])
def test_a_master_move_over_stems_is_found(change_db):
    """All stems step alike while the music goes on: one guess, at the time and of the size."""
    (guess,) = guesses(moved(stems(), 60.0, change_db))

    assert pytest.approx(guess.time_s, abs=0.5) == 60.15
    assert change_db == pytest.approx(guess.change_db, abs=0.5)
    assert guess.confidence >= 0.8


@pytest.mark.parametrize("seed", range(5))
def test_a_programme_left_alone_gives_no_guess(seed):
    """Nobody moved anything: nothing is asked."""
    assert guesses(stems(seed)) == []


def test_a_stem_that_enters_is_no_fader_move():
    """A section in which one stem rises by 12 dB and another drops out is the music's own doing."""
    levels = stems()
    levels[600:, 2] += 12.0
    levels[600:, 0] -= 10.0

    assert guesses(levels) == []


def test_a_crescendo_is_no_fader_move():
    """8 dB over 20 s, all stems alike, has no moment at which it happened."""
    assert guesses(moved(stems(), 50.0, 8.0, length_s=20.0)) == []


def test_one_channel_of_speech_is_not_trusted():
    """Level that wanders by itself gives no confident guess, though steps of several dB are in it."""
    rng = np.random.default_rng(3)
    phrases = np.repeat(rng.normal(-24.0, 5.0, 60), 20) + rng.normal(0.0, 5.0, 1200)

    assert guesses(phrases[:, None], 0.9) == []


def test_silence_gives_no_guess():
    """Digital silence, and the step into it, are no fader moves."""
    levels = stems()
    levels[600:] = -200.0

    assert guesses(levels) == []
    assert guesses(np.full((600, 2), -math.inf)) == []


def test_block_by_block_gives_the_same_guesses():
    """However the blocks arrive the guesses are the same, and each is returned once."""
    levels = moved(moved(stems(), 40.0, 3.0), 80.0, -4.0)
    detector = MoveDetector(4)

    fresh = [guess for block in energy(levels) for guess in detector.push(block)]

    assert [(guess.time_s, guess.change_db) for guess in guesses(levels)] == [
        (guess.time_s, guess.change_db) for guess in fresh
    ]
    assert len(fresh) == 2


def test_a_confirmed_guess_brings_the_material_back():
    """Told to the fader's history, the guess undoes the move to within half a decibel."""
    levels, history = moved(stems(), 60.0, -3.0), FaderHistory()
    (guess,) = guesses(levels)
    history.moved_by(guess.time_s, guess.change_db)

    undone = levels - history.gains_db(0, len(levels))[:, None]
    assert stems().mean(axis=0) == pytest.approx(undone.mean(axis=0), abs=0.5)
    assert np.abs(undone[620:] - stems()[620:]).max() < 0.5


def test_the_question_names_way_size_and_time():
    """What a person is asked."""
    assert Guess(754.2, -2.1, 0.9).sentence == "Was the fader moved down by about 2.1 dB at 12:34?"


@pytest.mark.parametrize("energies", [np.zeros((5, 3)), np.zeros((2, 2, 2)), [math.nan, 0.0], [-1.0, 0.0]])
def test_values_that_no_meter_gives_are_refused(energies):
    """Wrong shapes, NaN and negative energies are refused."""
    with pytest.raises(SignalError):
        MoveDetector(2).push(energies)
