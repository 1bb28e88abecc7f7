"""From a line in an invented tongue to the contours that a vocal tract follows.

The tongue is spelt as it is spoken, a letter a sound: ``x`` is the sound of *sh*, ``'`` takes a breath. The
first syllable of a word is stressed, and every second one after it.
Vowel and consonant figures follow the usual tables of a grown man's speech (J. Acoust. Soc.
Am. 24, 1952, and 67, 1980; from memory, rounded): they need to sound like talk, not to be exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidecar.sources.rehearsal.acoustics import Track

CONTOUR_HZ = 160
"""Points a second of every contour."""

VOWELS = "aeiou"
PAUSES = {",": 0.24, ".": 0.10, "?": 0.10}
"""Seconds of silence after a phrase; the end of a line only needs to die away."""

_NEUTRAL = (500.0, 1500.0, 2500.0)


@dataclass(frozen=True, slots=True)
class Phone:
    """One sound of the tongue."""

    seconds: float
    formants_hz: tuple[float, float, float] = _NEUTRAL
    voiced: float = 0.0
    breath: float = 0.0
    """Noise at the glottis, coloured by the tract."""
    hiss: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Noise at the teeth, at the palate and at the lips."""


PHONES: dict[str, tuple[Phone, ...]] = {
    "a": (Phone(0.110, (730, 1150, 2450), 1.0),),
    "e": (Phone(0.100, (520, 1820, 2500), 1.0),),
    "i": (Phone(0.090, (290, 2250, 2950), 0.9),),
    "o": (Phone(0.105, (540, 880, 2420), 1.0),),
    "u": (Phone(0.095, (320, 850, 2250), 0.9),),
    "m": (Phone(0.070, (270, 1000, 2200), 0.45),),
    "n": (Phone(0.060, (270, 1550, 2500), 0.45),),
    "l": (Phone(0.065, (370, 1100, 2650), 0.60),),
    "r": (Phone(0.065, (420, 1200, 1650), 0.60),),
    "w": (Phone(0.070, (300, 700, 2200), 0.60),),
    "y": (Phone(0.070, (290, 2150, 2950), 0.60),),
    "v": (Phone(0.060, (330, 1100, 2300), 0.40, hiss=(0.0, 0.0, 0.25)),),
    "z": (Phone(0.075, (300, 1700, 2550), 0.35, hiss=(0.35, 0.0, 0.0)),),
    "s": (Phone(0.105, (320, 1700, 2550), hiss=(0.60, 0.0, 0.0)),),
    "x": (Phone(0.105, (320, 1850, 2600), hiss=(0.0, 0.60, 0.0)),),
    "f": (Phone(0.090, (340, 1100, 2100), hiss=(0.0, 0.0, 0.35)),),
    "h": (Phone(0.060, _NEUTRAL, breath=0.60),),
    "p": (Phone(0.065, (350, 900, 2100)), Phone(0.015, (400, 900, 2100), 0.0, 0.5, (0.0, 0.0, 0.9))),
    "t": (Phone(0.060, (350, 1750, 2600)), Phone(0.020, (400, 1750, 2600), 0.0, 0.5, (0.8, 0.2, 0.0))),
    "k": (Phone(0.065, (350, 1950, 2300)), Phone(0.025, (400, 1950, 2300), 0.0, 0.6, (0.0, 0.8, 0.0))),
    "b": (Phone(0.055, (250, 900, 2100), 0.15), Phone(0.010, (350, 900, 2100), 0.5, hiss=(0, 0, 0.5))),
    "d": (Phone(0.050, (250, 1750, 2600), 0.15), Phone(0.010, (350, 1750, 2600), 0.5, hiss=(0.4, 0, 0))),
    "g": (Phone(0.055, (250, 1950, 2300), 0.15), Phone(0.015, (350, 1950, 2300), 0.5, hiss=(0, 0.4, 0))),
    "'": (Phone(0.320, _NEUTRAL, breath=0.16, hiss=(0.0, 0.03, 0.06)), Phone(0.090)),
}


@dataclass(frozen=True, slots=True)
class Spoken:
    """One sound at its place in a line."""

    phone: Phone
    seconds: float
    stressed: bool = False
    tone: float = 0.0
    """Lifts (+) or drops (−) the pitch: the melody at the end of a phrase."""


@dataclass(frozen=True, slots=True)
class Contours:
    """What the tract does, ``CONTOUR_HZ`` points a second: shapes (points,) and (points, 3)."""

    formants_hz: Track
    voiced: Track
    breath: Track
    hiss: Track
    pitch: Track
    """Relative to the speaker's middle pitch."""


def _word(word: str) -> list[Spoken]:
    spoken: list[Spoken] = []
    syllable = 0
    for letter in word:
        is_vowel = letter in VOWELS
        stressed = is_vowel and syllable % 2 == 0 and len(word) > 2
        syllable += is_vowel
        for phone in PHONES[letter]:
            stretch = 1.25 if stressed else 0.8 if is_vowel else 1.0
            spoken.append(Spoken(phone, phone.seconds * stretch, stressed))
    return spoken


def _closed(phrase: list[Spoken], mark: str) -> list[Spoken]:
    """The phrase with its last two syllables drawn out and intoned as its mark asks, and the pause."""
    tone = {",": 0.08, "?": 0.32, ".": -0.14}[mark]
    last = len(phrase) - 5
    ending = [
        Spoken(s.phone, s.seconds * (1.35 if s.phone.voiced >= 0.9 else 1.0), s.stressed, tone)
        for s in phrase[last:]
    ]
    return [*phrase[:last], *ending, Spoken(Phone(PAUSES[mark]), PAUSES[mark], tone=tone)]


def pronounced(line: str) -> list[Spoken]:
    """The sounds of a line; every phrase ends in a comma, a full stop or a question mark."""
    result: list[Spoken] = []
    phrase: list[Spoken] = []
    for word in line.split():
        phrase += _word(word.rstrip(",.?"))
        if word[-1] in PAUSES:
            result += _closed(phrase, word[-1])
            phrase = []
    return result


def spoken_s(line: str, pace: float) -> float:
    """Seconds that a line takes, to the point of its contours."""
    return sum(_points(sound, pace) for sound in pronounced(line)) / CONTOUR_HZ


def _points(sound: Spoken, pace: float) -> int:
    return max(2, round(sound.seconds / pace * CONTOUR_HZ))


def _smooth(contour: Track, seconds: float) -> Track:
    """Eases the steps between sounds: muscles take time."""
    width = round(seconds * CONTOUR_HZ) | 1
    kernel = np.hanning(width + 2)[1:-1]
    kernel /= kernel.sum()
    padded = np.pad(contour, [(width // 2, width // 2)] + [(0, 0)] * (contour.ndim - 1), mode="edge")
    if contour.ndim == 1:
        return np.convolve(padded, kernel, mode="valid")
    return np.stack([np.convolve(column, kernel, mode="valid") for column in padded.T], axis=1)


def articulated(line: str, pace: float) -> Contours:
    """The contours of a whole line. ``pace`` 1.0 is about five syllables a second."""
    sounds = pronounced(line)
    points = [_points(sound, pace) for sound in sounds]

    def contour(values: list[float] | list[tuple[float, float, float]]) -> Track:
        return np.repeat(np.array(values, dtype=np.float64), points, axis=0)

    count = sum(points)
    stress = contour([float(s.stressed) for s in sounds])
    tone = contour([s.tone for s in sounds])
    falling = np.linspace(1.08, 0.90, count)
    loudness = (0.75 + 0.35 * _smooth(stress, 0.12)) * np.linspace(1.05, 0.85, count)
    return Contours(
        formants_hz=_smooth(contour([s.phone.formants_hz for s in sounds]), 0.055),
        voiced=_smooth(contour([s.phone.voiced for s in sounds]), 0.035) * loudness,
        breath=_smooth(contour([s.phone.breath for s in sounds]), 0.035) * loudness,
        hiss=_smooth(contour([s.phone.hiss for s in sounds]), 0.025) * loudness[:, None],
        pitch=falling * (1.0 + 0.20 * _smooth(stress, 0.16) + _smooth(tone, 0.20)),
    )
