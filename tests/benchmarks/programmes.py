"""Invented programmes to try the advice on: 100 ms K-weighted energies, at a fader of 0 dB.

Three kinds, drawn openly from the figures below (common practice, no source): a song is a form of
sections around its chorus, a show is people taking turns with pauses, stings and played-in items, a
score is themes over a wide range that return, swell and die away; an arch is the hard case of a score
whose loudest passage may come last. Nothing here knows the advice.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Levels = NDArray[np.float64]

Law = Callable[[np.random.Generator], Levels]
"""Invents a programme: dB at every 100 ms, of no level as a whole."""

BLOCKS_PER_S = 10


def _noise(rng: np.random.Generator, blocks: int, spread_db: float, memory_s: float) -> Levels:
    """Gaussian level noise of a given spread whose autocorrelation falls to 1/e in *memory_s*."""
    keep = math.exp(-1.0 / (memory_s * BLOCKS_PER_S))
    drive = rng.normal(0.0, spread_db * math.sqrt(1.0 - keep * keep), blocks)
    start = rng.normal(0.0, spread_db)
    return np.asarray(lfilter([1.0], [1.0, -keep], drive, zi=[keep * start])[0])


def _ramp(first_db: float, last_db: float, blocks: int) -> Levels:
    return np.linspace(first_db, last_db, blocks)


def song(rng: np.random.Generator) -> Levels:
    """3 to 5 minutes: verses and choruses, sometimes a bridge and a fade-out. Levels in dB."""
    length = int(rng.uniform(180, 300) * BLOCKS_PER_S)
    depth = rng.uniform(1.0, 5.0)
    part_db = {
        "intro": -depth * 1.5 + rng.normal(0.0, 2.0),
        "verse": -depth + rng.normal(0.0, 1.0),
        "chorus": 0.0,
        "bridge": -depth * 1.2 + rng.normal(0.0, 2.5),
        "outro": rng.normal(-depth, 2.0),
    }
    form = ["intro", "verse", "chorus", "verse", "chorus"]
    form += ["bridge", "chorus"] if rng.random() < 0.6 else ["verse", "chorus"]
    form += ["outro"] if rng.random() < 0.6 else ["chorus"]
    share = {"intro": 0.6, "outro": 0.6, "bridge": 0.8}
    weights = np.array([share.get(part, 1.0) * rng.uniform(0.7, 1.3) for part in form])
    blocks = np.maximum((weights / weights.sum() * length).astype(int), 1)
    pieces = [
        part_db[part] + rng.normal(0.0, 0.7) + _noise(rng, count, 1.0, 2.0) + rng.normal(0.0, 1.5, count)
        for part, count in zip(form, blocks, strict=True)
    ]
    levels = np.concatenate(pieces)
    if rng.random() < 0.3:
        fade = int(rng.uniform(8, 20) * BLOCKS_PER_S)
        levels[-fade:] += _ramp(0.0, -45.0, fade)
    lead = np.full(int(rng.uniform(0, 1.5) * BLOCKS_PER_S), -80.0)
    return np.concatenate([lead, levels])


def _speech(rng: np.random.Generator, blocks: int) -> Levels:
    """Syllables over phrases of 1 to 5 s, with breaths between them down to the room's noise."""
    levels = _noise(rng, blocks, 1.5, 4.0) + rng.normal(0.0, 3.5, blocks)
    at = 0
    while at < blocks:
        at += int(rng.uniform(1.0, 5.0) * BLOCKS_PER_S)
        breath = int(rng.uniform(0.2, 0.9) * BLOCKS_PER_S)
        levels[at : at + breath] = -35.0 + rng.normal(0.0, 1.5, len(levels[at : at + breath]))
        at += breath
    return levels


def show(rng: np.random.Generator) -> Levels:
    """15 to 30 minutes: speakers in turn, stings, played-in items, applause and pauses. Levels in dB."""
    length = int(rng.uniform(900, 1800) * BLOCKS_PER_S)
    speakers_db = rng.normal(0.0, 2.0, int(rng.integers(2, 6)))
    sting_db, item_db = rng.normal(2.0, 2.0), rng.normal(-1.0, 2.5)

    def sting() -> Levels:
        count = int(rng.uniform(4, 20) * BLOCKS_PER_S)
        return sting_db + _noise(rng, count, 1.5, 2.0) + rng.normal(0.0, 1.0, count)

    def turn() -> Levels:
        count = int(rng.uniform(4, 60) * BLOCKS_PER_S)
        return float(rng.choice(speakers_db)) + rng.normal(0.0, 1.0) + _speech(rng, count)

    def item() -> Levels:
        count = int(rng.uniform(40, 180) * BLOCKS_PER_S)
        return item_db + rng.normal(0.0, 1.5) + _noise(rng, count, 3.0, 8.0) + rng.normal(0.0, 2.0, count)

    def applause() -> Levels:
        count = int(rng.uniform(3, 12) * BLOCKS_PER_S)
        return rng.normal(1.0, 2.0) + rng.normal(0.0, 0.8, count) + _ramp(0.0, -8.0, count)

    def pause() -> Levels:
        return np.full(int(rng.uniform(1, 15) * BLOCKS_PER_S), -45.0)

    pieces = [sting()]
    kinds: list[Callable[[], Levels]] = [turn, item, applause, sting, pause]
    while sum(map(len, pieces)) < length:
        pieces.append(kinds[int(rng.choice(5, p=[0.66, 0.09, 0.08, 0.05, 0.12]))]())
    return np.concatenate(pieces)[:length]


def _ending(rng: np.random.Generator, levels: Levels) -> Levels:
    """Half of the pieces die away at the end."""
    if rng.random() < 0.5:
        fade = int(rng.uniform(5, 25) * BLOCKS_PER_S)
        levels[-fade:] += _ramp(0.0, -30.0, fade)
    return levels


def _phrase(rng: np.random.Generator, from_db: float, to_db: float, longest_s: float) -> Levels:
    """A phrase at a new level, half of the time swelling or dying away to it; sometimes a silence after."""
    count = int(rng.uniform(10.0, longest_s) * BLOCKS_PER_S)
    course = _ramp(from_db, to_db, count) if rng.random() < 0.5 else np.full(count, to_db)
    phrase = course + _noise(rng, count, 1.5, 3.0) + rng.normal(0.0, 1.0, count)
    if rng.random() > 0.1:
        return phrase
    return np.concatenate([phrase, np.full(int(rng.uniform(1, 5) * BLOCKS_PER_S), -60.0)])


def score(rng: np.random.Generator) -> Levels:
    """6 to 15 minutes: five themes that come and go in any order, the softest 14 to 22 dB under the full
    orchestra. Levels in dB."""
    length = int(rng.uniform(360, 900) * BLOCKS_PER_S)
    themes_db = np.linspace(-rng.uniform(14.0, 22.0), 0.0, 5) + rng.normal(0.0, 1.5, 5)
    theme = int(rng.integers(0, 5))
    level = float(themes_db[theme])
    pieces: list[Levels] = []
    while sum(map(len, pieces)) < length:
        theme = (theme + int(rng.integers(1, 5))) % 5
        goes_to = float(themes_db[theme]) + rng.normal(0.0, 1.0)
        pieces.append(_phrase(rng, level, goes_to, 40.0))
        level = goes_to
    return _ending(rng, np.concatenate(pieces)[:length])


def arch(rng: np.random.Generator) -> Levels:
    """6 to 15 minutes that wander between neighbouring marks from pp to ff, 15 to 25 dB apart, so that the
    loudest may be heard for the first time near the end: what no forecast can know. Levels in dB."""
    length = int(rng.uniform(360, 900) * BLOCKS_PER_S)
    marks_db = np.arange(6) * rng.uniform(3.0, 5.0) - 25.0
    mark = int(rng.integers(0, 6))
    level = float(marks_db[mark])
    pieces: list[Levels] = []
    while sum(map(len, pieces)) < length:
        mark = min(max(mark + int(rng.choice([-2, -1, 1, 2], p=[0.15, 0.35, 0.35, 0.15])), 0), 5)
        goes_to = float(marks_db[mark]) + rng.normal(0.0, 1.0)
        pieces.append(_phrase(rng, level, goes_to, 45.0))
        level = goes_to
    return _ending(rng, np.concatenate(pieces)[:length])


KINDS: dict[str, Law] = {
    "song": song,
    "show": show,
    "score": score,
    "arch": arch,
}
