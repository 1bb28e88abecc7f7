"""The music of the rehearsal, bar by bar. Every bar is stereo, shape (n, 2), its room included."""

from __future__ import annotations

import numpy as np

from sidecar.sources.rehearsal.acoustics import Room, Sound, frames_in, placed, sounding_in, white
from sidecar.sources.rehearsal.instruments import (
    accordion,
    bass,
    brass,
    brush,
    chime,
    harp,
    strings,
    thud,
    timpani,
)

_HUMAN_S = 0.012
"""How far a hand is late on average."""

BEAT_S = 0.4
WALTZ_BAR_S = 3 * BEAT_S
BED_BAR_S = 4.0
STORM_BAR_S = 2.0

_HALL = Room(tail_s=1.5, wet=0.32, dark_hz=5000.0)
_CAVE = Room(tail_s=2.4, wet=0.5, dark_hz=3500.0)

_CHORDS = {
    "Dm": (38, (57, 62, 65)),
    "Gm": (43, (58, 62, 67)),
    "Bb": (46, (58, 62, 65)),
    "F": (41, (57, 60, 65)),
    "C7": (36, (58, 60, 64)),
    "A7": (45, (55, 61, 64)),
}
"""Bass and middle voices as semitones (60 is middle C)."""

_WALTZ = """
Dm A4:2 D5:1 | Dm F5:2 E5:1 | Gm D5:1 Bb4:1 G4:1 | Dm A4:3 | Bb F4:1 Bb4:1 D5:1 | F C5:2 A4:1
A7 C#5:2 E5:1 | A7 A4:3 | Dm A4:2 D5:1 | Dm F5:2 G5:1 | Gm Bb5:2 A5:1 | C7 G5:1 F5:1 E5:1 | F F5:2 C5:1
Bb D5:1 C5:1 Bb4:1 | A7 A4:1 E5:1 C#5:1 | Dm D5:3
"""
"""A chord and its melody for each bar; a note is a name, an octave and its beats."""

WALTZ = tuple(bar.strip() for bar in _WALTZ.replace("\n", "|").split("|") if bar.strip())

_STEPS = {"C": 0, "C#": 1, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "Bb": 10}

_BED = (
    (38, (57, 60, 64, 65, 69)),
    (34, (57, 58, 62, 65, 69)),
    (43, (55, 58, 62, 65, 70)),
    (33, (55, 57, 62, 64, 69)),
)
"""The slow chords, as root and voices."""

_DRUMMING = ((0.0, 0.50), (0.75, 0.30), (1.0, 0.42), (1.5, 0.30), (1.75, 0.36))
"""Strokes of a bar in the storm: seconds and weight."""


class _Stage:
    """A bar being put together, with space for what rings past its end."""

    def __init__(self, seconds: float) -> None:
        self._sound: Sound = np.zeros((frames_in(seconds), 2), dtype=np.float32)

    def play(self, sound: Sound, at_s: float, pan: float, gain: float) -> None:
        start = frames_in(at_s)
        span = self._sound[start : start + len(sound)]
        span += placed(sound[: len(span)], pan) * np.float32(gain)

    def heard_in(self, room: Room) -> Sound:
        return sounding_in(room, self._sound)


def _semitone(name: str) -> int:
    return _STEPS[name[:-1]] + 12 * (int(name[-1]) + 1)


def waltz_bar(bar: str, *, full: bool, draw: int) -> Sound:
    """One bar in three: bass and drum on one, harp and brush on two and three, the accordion above."""
    chord, *melody = bar.split()
    root, voices = _CHORDS[chord]
    stage = _Stage(WALTZ_BAR_S + 0.8)
    stage.play(bass(root, 1.1), 0.0, -0.05, 0.42)
    stage.play(thud(0.4), 0.0, 0.0, 0.30)
    for beat in (1, 2):
        stage.play(brush(0.25, draw + beat), beat * BEAT_S + 0.006 * beat, 0.35, 0.30)
        for index, semitone in enumerate(voices):
            stage.play(harp(semitone, 0.9), beat * BEAT_S + 0.012 * index, -0.45, 0.16)
    at_s = 0.0
    for note in melody:
        name, beats = note.split(":")
        seconds = int(beats) * BEAT_S
        stage.play(accordion(_semitone(name), seconds + 0.03), at_s, 0.2, 0.20)
        if full:
            stage.play(accordion(_semitone(name) - 12, seconds + 0.03), at_s, 0.5, 0.10)
        at_s += seconds
    if full:
        for index, semitone in enumerate(voices):
            stage.play(strings(semitone, WALTZ_BAR_S + 0.3, swell_s=0.3), 0.0, 0.7 * (index - 1), 0.18)
    return stage.heard_in(_HALL)


def last_chord(*, draw: int) -> Sound:
    """All parts hold D minor until it has decayed."""
    root, voices = _CHORDS["Dm"]
    stage = _Stage(4.5)
    stage.play(bass(root, 3.0), 0.0, -0.05, 0.45)
    stage.play(timpani(root, 2.5, draw), 0.0, 0.1, 0.20)
    for index, semitone in enumerate(voices):
        stage.play(harp(semitone, 3.5), 0.03 * index, -0.45, 0.20)
        stage.play(strings(semitone, 4.2, swell_s=1.6), 0.0, 0.7 * (index - 1), 0.20)
    stage.play(accordion(74, 2.2), 0.0, 0.2, 0.16)
    return stage.heard_in(_HALL)


def bed_bar(number: int, *, draw: int) -> Sound:
    """Four slow beats for under a voice: strings, and a harp that climbs and comes back."""
    root, voices = _BED[number % len(_BED)]
    stage = _Stage(BED_BAR_S + 1.5)
    for index, semitone in enumerate((root + 12, *voices[1:4])):
        stage.play(strings(semitone, BED_BAR_S + 1.2, swell_s=1.2), 0.0, 0.5 * (index - 1.5), 0.16)
    for index, (voice, late) in enumerate(zip((0, 1, 2, 3, 4, 3, 2, 1), white(draw, 8), strict=True)):
        at_s = 0.5 * index + _HUMAN_S * (1.0 + late)
        stage.play(harp(voices[voice], 1.6), at_s, -0.3 + 0.15 * voice, 0.15)
    return stage.heard_in(_HALL)


def chime_bar(number: int, *, draw: int) -> Sound:
    """Three notes with much air between them."""
    stage = _Stage(BED_BAR_S + 1.0)
    _, voices = _BED[number % len(_BED)]
    for (at_s, voice), late in zip(((0.0, 4), (1.5, 2), (2.25, 3)), white(draw, 3), strict=True):
        stage.play(chime(voices[voice] + 12, 2.6), at_s + _HUMAN_S * (1.0 + late), 0.3 * (voice - 3), 0.20)
    return stage.heard_in(_CAVE)


def storm_bar(number: int, *, draw: int) -> Sound:
    """Two seconds of kettledrums and low brass that lean on a half-tone."""
    root = (38, 38, 39, 37)[number % 4]
    stage = _Stage(STORM_BAR_S + 0.8)
    for stroke, (at_s, gain) in enumerate(_DRUMMING):
        stage.play(timpani(root + 5 * (stroke % 2), 0.9, draw + stroke), at_s, 0.15, gain)
    for index, semitone in enumerate((root, root + 7, root + 12, root + 15)):
        stage.play(brass(semitone, STORM_BAR_S + 0.3), 0.0, 0.4 * (index - 1.5), 0.22)
    return stage.heard_in(_HALL)
