"""What is known of the stems' faders, and what it does to the advice on them."""

from dataclasses import replace

import numpy as np
import pytest

from sidecar.errors import SettingsError
from sidecar.meter import StemBlocks
from sidecar.model.advice import Advice
from sidecar.model.readings import SILENCE, Move
from sidecar.run.stem_faders import Mix, StemFaders
from sidecar.settings.goals import load_goal
from sidecar.sources import Block

GOAL = load_goal("r128")
NAMES = ("voice", "band")
HEARD = Block(np.zeros((0, 4), np.float32))


def mean_square(lufs):
    return 10 ** ((lufs + 0.691) / 10)


def blocks(seconds, voice_lufs, band_lufs, peaks_dbtp=(-20.0, -20.0)):
    """Uncorrelated stems of those levels (BS.1770-5 Annex 1, equation 2)."""
    count = round(seconds * 10)
    products = np.diag([mean_square(voice_lufs), mean_square(band_lufs)])
    return StemBlocks(np.tile(products, (count, 1, 1)), np.tile(peaks_dbtp, (count, 1)))


def take(faders, stem_blocks, heard=HEARD):
    faders.push_blocks(stem_blocks, stem_blocks.true_peak.max(axis=1) + 3.0, heard)


def advise(faders, gain_db, now_s=0.0, **update):
    """The advice on the whole mix, to move the master fader by so much, shared out among the stems."""
    move = Move(gain_db, -23.0, -23.4, -22.6)
    faders.update_moves(now_s, Advice("move" if gain_db else "on_goal", move), **update)


def stem(faders, name):
    return next(one for one in faders.stems() if one.name == name)


def test_the_stem_that_is_too_loud_is_moved():
    """The band at −18 alone makes the mix 5 LU too loud: it goes down and the kept voice stays."""
    faders = StemFaders(Mix(NAMES, keep=("voice",)), GOAL)
    take(faders, blocks(30, -30.0, -18.0))
    advise(faders, -5.0)

    assert stem(faders, "voice").move.is_quiet
    assert stem(faders, "band").move.gain_db < -5.0
    assert stem(faders, "band").move.landing == -23.0


def test_the_first_word_on_a_fader_counts_for_the_past_and_the_next_one_is_a_move():
    """At −4 dB first, nothing has changed; at −9 dB later, the past would be 5 dB quieter as it is now."""
    faders = StemFaders(Mix(NAMES), GOAL)
    take(faders, blocks(30, SILENCE, -18.0))
    faders.report_position("2", -4.0)
    take(faders, blocks(0.1, SILENCE, -18.0))
    first = faders.trims_db()
    faders.report_position("band", -9.0)
    take(faders, blocks(0.1, SILENCE, -23.0))
    second = faders.trims_db()

    assert stem(faders, "band").fader_db == -9.0
    assert (len(first), np.abs(first).max()) == (301, pytest.approx(0.0, abs=1e-5))
    assert second == pytest.approx([-5.0] * 301 + [0.0], abs=1e-5)


def test_the_master_fader_is_no_trim_of_the_stems():
    """It fell by 3 dB in mid-pass, and the band rose by 2 dB: only the latter is a change of the balance."""
    faders = StemFaders(Mix(NAMES), GOAL)
    take(faders, blocks(1, SILENCE, -18.0), Block(HEARD.frames, gain_db=0.0, stem_gains_db=(0.0, 0.0)))
    take(faders, blocks(1, SILENCE, -19.0), Block(HEARD.frames, gain_db=-3.0, stem_gains_db=(0.0, 2.0)))

    assert faders.trims_db() == pytest.approx([2.0] * 10 + [0.0] * 10, abs=1e-5)


def test_a_ride_counts_when_it_has_come_to_rest_not_at_every_step():
    """A search takes a tenth of a second after an hour of eight stems; steps come twenty a second."""
    faders = StemFaders(Mix(NAMES), GOAL)
    faders.report_position("band", 0.0)
    take(faders, blocks(30, SILENCE, -18.0))
    settled = []
    for step in range(1, 41):
        faders.report_position("band", -0.1 * min(step, 10))
        take(faders, blocks(0.1, SILENCE, -19.0))
        settled.append((step * 0.05, faders.settle(step * 0.05)))

    assert [one for one in settled if one[1] is not None] == [(1.0, pytest.approx(-1.0, abs=0.01))]


def test_a_fader_that_was_moved_in_a_pause_counts_when_it_is_heard():
    """Nothing has sounded at its new place yet."""
    faders = StemFaders(Mix(NAMES), GOAL)
    take(faders, blocks(30, -30.0, -18.0))
    faders.report_position("band", 0.0)
    faders.report_position("band", -6.0)
    paused = [faders.settle(now_s) for now_s in (0.0, 1.0, 2.0)]
    take(faders, blocks(0.1, -30.0, -24.0))

    assert paused == [None] * 3
    assert faders.settle(3.0) == pytest.approx(-5.2, abs=0.1)


def test_moves_change_at_looks_of_the_advice_alone():
    """The same advice again is no look, whatever has sounded since; the next look is one."""
    faders = StemFaders(Mix(NAMES), GOAL)
    take(faders, blocks(30, -24.0, -30.0))
    advice = Advice("move", Move(-1.0, -23.0), next_look_at_s=40.0)
    faders.update_moves(0.0, advice)
    first = faders.stems()
    take(faders, blocks(30, -30.0, -16.0))
    faders.update_moves(30.0, advice)
    second = faders.stems()
    faders.update_moves(30.0, replace(advice, move=Move(-1.5, -23.0), next_look_at_s=70.0))

    assert first[0].move.gain_db == pytest.approx(-1.3, abs=0.1)
    assert [one.move for one in second] == [one.move for one in first]
    assert stem(faders, "band").move.gain_db == pytest.approx(-1.9, abs=0.1)


def test_faders_that_the_source_knows_are_taken_from_it():
    """Whatever else was said of them; the master fader before the meter is undone as well."""
    faders = StemFaders(Mix(NAMES), GOAL)
    knows = Block(HEARD.frames, gain_db=-3.0, stem_gains_db=(0.0, -2.0))
    take(faders, blocks(30, SILENCE, -23.0), knows)
    faders.report_position("band", 5.0)

    assert stem(faders, "band").fader_db == -2.0
    assert list(faders.gains_db) == [-3.0, -5.0]


def test_the_balance_from_silence_starts_with_the_anchor():
    """The voice first, then the rest under it, onto the goal."""
    faders = StemFaders(Mix(NAMES, anchor="voice", offset_lu=10.0), GOAL)
    take(faders, blocks(30, -20.0, -18.0))
    advise(faders, -5.0)

    assert [opening.name for opening in faders.build_up] == list(NAMES)
    assert (faders.build_up[0].fader_db - 20.0) - (faders.build_up[1].fader_db - 18.0) == pytest.approx(
        10.0, abs=0.2
    )


def test_a_new_pass_forgets_the_sound_and_keeps_the_faders():
    """A reset does not move anybody's fader."""
    faders = StemFaders(Mix(NAMES), GOAL)
    faders.report_position("voice", -6.0)
    take(faders, blocks(30, -20.0, -18.0, (-3.0, -20.0)))
    advise(faders, -5.0)
    assert stem(faders, "voice").true_peak == -3.0
    faders.begin_next_pass()

    assert (
        stem(faders, "voice").fader_db,
        stem(faders, "voice").true_peak,
        stem(faders, "band").move.is_quiet,
    ) == (-6.0, SILENCE, True)


@pytest.mark.parametrize("position_db", [float("nan"), float("inf")])
def test_what_is_no_position_is_refused(position_db):
    """It would end the run with the next block."""
    with pytest.raises(SettingsError, match="is no fader position"):
        StemFaders(Mix(NAMES), GOAL).report_position("voice", position_db)


@pytest.mark.parametrize("name", ["0", "3", "drums", ""])
def test_an_unknown_stem_is_named_with_those_there_are(name):
    """A script's author sees what went wrong."""
    with pytest.raises(SettingsError, match="Name one of: voice, band"):
        StemFaders(Mix(NAMES), GOAL).report_position(name, 0.0)
