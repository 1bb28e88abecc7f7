"""The people of the rehearsal speak for as long as announced, each in a voice of their own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from sidecar.sources.rehearsal.acoustics import RATE_HZ
from sidecar.sources.rehearsal.cast import MASTER, NARRATOR, REPORTER
from sidecar.sources.rehearsal.speech import spoken_s
from sidecar.sources.rehearsal.voices import speak

LINE = "malona rivemu, dal sonera?"


@pytest.mark.parametrize("person", [NARRATOR, REPORTER, MASTER])
def test_a_line_lasts_as_announced(person):
    """Dialogues are laid out before anything is spoken, so that speakers do not overlap."""
    assert len(speak(person.voice, LINE, draw=1)) == round(spoken_s(LINE, person.voice.pace) * RATE_HZ)


@pytest.mark.parametrize("person", [NARRATOR, REPORTER, MASTER])
def test_pitch_moves_about_the_speakers_own(person):
    """Half of what is voiced lies within a third of an octave of the middle pitch (by autocorrelation)."""
    sound = speak(person.voice, LINE, draw=1)
    frames = sound[: len(sound) // 2400 * 2400].reshape(-1, 2400)
    voiced = frames[np.square(frames).mean(axis=1) > 0.25 * np.square(sound).mean()]
    lags = np.arange(RATE_HZ // 400, RATE_HZ // 70)
    pitches_hz = [RATE_HZ / lags[signal.correlate(f, f)[2399 + lags].argmax()] for f in voiced]

    assert abs(np.log2(np.median(pitches_hz) / person.voice.pitch_hz)) < 1.0 / 3.0


def test_the_same_line_is_never_said_twice_the_same_way():
    """Another draw is another breath: no two takes are equal, one take always is."""
    first, again, other = (speak(NARRATOR.voice, LINE, draw) for draw in (1, 1, 2))

    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
