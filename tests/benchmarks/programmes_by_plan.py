"""A second set of invented programmes, by another law: 100 ms K-weighted energies at a fader of 0 dB.

Where ``programmes`` strings pieces together as they come, these follow a plan: a song is steady sections
that build up or thin out, a show is a rundown of segments, a score is cues whose loud passages return
through its whole length. Under all of them the level creeps from end to end, which no law there does.

Calibrated on the plain rule alone, and frozen before the advice was run on them: the figures below were set
by looking at the rows "habit", "plain" and "omniscient" of ``landing.py``, nothing else, until the plain
rule had the share of the habit's error that the benchmark's limits were written for (median and 90th
percentile 0.57 and 0.57 in songs, 0.10 and 0.10 in shows, 0.05 and 0.075 in scores). Over 100 programmes
from random start 1000 (200 songs) it has 0.51 and 0.59, 0.09 and 0.16, 0.04 and 0.11: near enough but for
the 90th percentiles of shows and scores, which come down no further without their medians. (The worst for
the plain rule are those that creep up.)
"""

from __future__ import annotations

import math

import numpy as np
from programmes import BLOCKS_PER_S, Law, Levels

SONG_MIN, SONG_CREEP_DB = (4.5, 6.5), (7.0, 8.0)
SECTION_S, SECTIONS_DB, STOPS = (14.0, 34.0), 1.5, 0.15

SHOW_MIN, SHOW_CREEP_DB = (12.0, 18.0), (3.5, 4.0)
HOST_DB, DESK_DB, GUEST_DB, FILM_DB = 1.0, 1.2, 1.2, 1.2
_CLOSING = 45 * BLOCKS_PER_S

SCORE_MIN, SCORE_CREEP_DB = (12.0, 18.0), (4.0, 4.5)
SOFT_DB, LOUD_DB = (-14.0, 1.0), (0.0, 0.3)


def _blocks(rng: np.random.Generator, shortest_s: float, longest_s: float) -> int:
    return int(rng.uniform(shortest_s, longest_s) * BLOCKS_PER_S)


def _creep(rng: np.random.Generator, between_db: tuple[float, float], length: int) -> float:
    """dB by which every block lies over or under the one before, for so many over the planned length."""
    return float(rng.choice([-1.0, 1.0]) * rng.uniform(*between_db) / length)


def _crept(pieces: list[Levels], creep_db: float) -> Levels:
    levels = np.concatenate(pieces)
    return levels + creep_db * np.arange(len(levels))


def steady_song(rng: np.random.Generator) -> Levels:
    """4.5 to 6.5 minutes that build up or thin out: sections that hold their level but for a creep."""
    length = _blocks(rng, 60.0 * SONG_MIN[0], 60.0 * SONG_MIN[1])
    creep_db = _creep(rng, SONG_CREEP_DB, length)
    beat = BLOCKS_PER_S * 60.0 / rng.uniform(80.0, 150.0)
    pieces: list[Levels] = []
    while sum(map(len, pieces)) < length:
        count = _blocks(rng, *SECTION_S)
        beats = 1.2 * np.sin(2.0 * math.pi * np.arange(count) / beat)
        pieces.append(rng.uniform(-SECTIONS_DB, SECTIONS_DB) + beats + rng.normal(0.0, 0.5, count))
        if rng.random() < STOPS:
            pieces.append(np.full(_blocks(rng, 0.5, 2.0), -50.0))
    return _crept(pieces, creep_db)[:length]


def _talk(rng: np.random.Generator, level_db: float, blocks: int) -> Levels:
    """Sentences of 2 to 8 s that fall towards their end, with rests of the room between them."""
    levels: list[Levels] = []
    while sum(map(len, levels)) < blocks:
        count = _blocks(rng, 2.0, 8.0)
        words = np.abs(np.sin(np.cumsum(rng.uniform(0.4, 2.0, count))))
        sentence = 20.0 * np.log10(0.15 + words) + np.linspace(1.5, -1.5, count) + rng.normal(0.0, 1.0)
        levels += [level_db + sentence, np.full(_blocks(rng, 0.2, 1.2), -40.0)]
    return np.concatenate(levels)[:blocks]


def rundown(rng: np.random.Generator) -> Levels:
    """12 to 18 minutes to a plan: titles, then segments of a link by the host, a film or a talk with a guest,
    and a closing under music."""
    length = _blocks(rng, 60.0 * SHOW_MIN[0], 60.0 * SHOW_MIN[1])
    creep_db = _creep(rng, SHOW_CREEP_DB, length)
    host_db = rng.normal(0.0, HOST_DB)
    pieces = [_music(rng, rng.normal(2.0, 1.5), _blocks(rng, 12.0, 25.0))]
    while sum(map(len, pieces)) < length - _CLOSING:
        desk_db = rng.normal(0.0, DESK_DB)
        pieces.append(_talk(rng, host_db + desk_db, _blocks(rng, 10.0, 40.0)))
        pieces += _film(rng) if rng.random() < 0.5 else _guest(rng, host_db + desk_db)
        if rng.random() < 0.2:
            pieces.append(np.full(_blocks(rng, 2.0, 8.0), -60.0))
    pieces.append(_talk(rng, host_db, _blocks(rng, 15.0, 30.0)))
    pieces.append(_music(rng, rng.normal(1.0, 1.5), _blocks(rng, 15.0, 30.0)))
    return _crept(pieces, creep_db)


def _music(rng: np.random.Generator, level_db: float, blocks: int) -> Levels:
    return level_db + np.linspace(0.0, rng.normal(0.0, 1.0), blocks) + rng.normal(0.0, 1.5, blocks)


def _film(rng: np.random.Generator) -> list[Levels]:
    """A narrator, voices of the street and passages of music, at the level the film came with."""
    film_db = rng.normal(0.0, FILM_DB)
    pieces: list[Levels] = []
    for _ in range(int(rng.integers(3, 8))):
        part = rng.choice(["narrator", "street", "music"], p=[0.5, 0.3, 0.2])
        count = _blocks(rng, 6.0, 25.0)
        if part == "music":
            pieces.append(_music(rng, film_db + rng.normal(1.0, 1.5), count))
        else:
            pieces.append(_talk(rng, film_db + (0.0 if part == "narrator" else rng.normal(-2.0, 2.0)), count))
    return pieces


def _guest(rng: np.random.Generator, host_db: float) -> list[Levels]:
    """Questions and longer answers in turn."""
    guest_db = rng.normal(-1.0, GUEST_DB)
    pieces: list[Levels] = []
    for _ in range(int(rng.integers(3, 8))):
        pieces.append(_talk(rng, host_db, _blocks(rng, 3.0, 12.0)))
        pieces.append(_talk(rng, guest_db, _blocks(rng, 10.0, 50.0)))
    return pieces


def cues(rng: np.random.Generator) -> Levels:
    """12 to 18 minutes of cues: each begins soft, builds up in waves to a loud passage and falls back."""
    length = _blocks(rng, 60.0 * SCORE_MIN[0], 60.0 * SCORE_MIN[1])
    creep_db = _creep(rng, SCORE_CREEP_DB, length)
    pieces: list[Levels] = []
    while sum(map(len, pieces)) < length:
        pieces += _cue(rng)
    return _crept(pieces, creep_db)


def _cue(rng: np.random.Generator) -> list[Levels]:
    soft_db = rng.normal(*SOFT_DB)
    loud_db = rng.normal(*LOUD_DB)
    waves = int(rng.integers(2, 6))
    pieces: list[Levels] = []
    level = soft_db
    for wave in range(waves):
        top = soft_db + (loud_db - soft_db) * (wave + 1) / waves + rng.normal(0.0, 1.0)
        pieces += [
            _breathing(rng, level, top, _blocks(rng, 6.0, 20.0)),
            _breathing(rng, top, top, _blocks(rng, 4.0, 20.0)),
        ]
        level = top - rng.uniform(2.0, 10.0)
        pieces.append(_breathing(rng, top, level, _blocks(rng, 3.0, 10.0)))
    pieces.append(_breathing(rng, level, soft_db, _blocks(rng, 5.0, 25.0)))
    pieces.append(np.full(_blocks(rng, 0.5, 4.0), -65.0))
    return pieces


def _breathing(rng: np.random.Generator, from_db: float, to_db: float, blocks: int) -> Levels:
    """A line that swells and sinks by 1.5 dB with every breath of 3 to 6 s on its way."""
    breath = rng.uniform(30.0, 60.0)
    swell = 1.5 * np.sin(2.0 * math.pi * np.arange(blocks) / breath)
    return np.linspace(from_db, to_db, blocks) + swell + rng.normal(0.0, 1.0, blocks)


KINDS: dict[str, Law] = {"steady song": steady_song, "rundown": rundown, "cues": cues}
