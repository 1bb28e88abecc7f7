"""What the advice on stems asks of a person, on real recordings in both halves of recordings.py. Run:

    python tests/benchmarks/stems_on_recordings.py [--half judging] [--count 12] [--blind] [--each]

Each mix has four stems: prompts of a speaker with pauses, a piece of music under them, passages of another
one that come and go, and a third one faintly all the time. It plays as a rough mix in programme time, through
the very schedule that a run drives, once a second: with the faders left alone, and followed, all moves of an
advice made in the second in which it is shown. ``--blind`` does not say how long the pass is.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from landing_ways import GOAL
from recordings import BLOCKS_PER_S, HALVES, SPEECH, Half, Levels, Programme, draw, integrated, songs, speech

from sidecar.meter.meter import Blocks
from sidecar.meter.stems import StemBlocks
from sidecar.model.snapshot import Stem
from sidecar.run.advising import AdviceSchedule
from sidecar.run.metering import Taken
from sidecar.run.stem_faders import Mix, StemFaders
from sidecar.sources import Block

NAMES = ("voice", "music", "passages", "bed")
BACK_WITHIN_S = 15
EARLY_S = 10.0
START_LU = 6.0
NEAR_LU = 0.5

_SECOND = BLOCKS_PER_S
_NO_FRAMES = np.zeros((0, 2), np.float32)
_NOTHING = 1e-12

Shown = tuple[tuple[str, float], ...]
"""The stems to be moved and their gains."""


@dataclass(frozen=True)
class Apart:
    """One mix, its stems apart."""

    name: str
    energies: Levels
    """Shape (blocks, stems)."""
    peaks_dbtp: Levels
    """Shape (blocks, stems)."""

    @property
    def seconds(self) -> float:
        return len(self.energies) / BLOCKS_PER_S


class _NoRides(AdviceSchedule):
    """Rides are another matter, and their search is slow."""

    def _seek_rides(self, now_s: float, *, at_rest: bool) -> None:
        pass


def mixes(half: Half, count: int) -> list[Apart]:
    """Mixes of 3 to 6 minutes; levels of the stems are drawn by the number."""
    music = [song.raised(-song.lufs) for song in songs(half)]
    return [_mix(half, number, music) for number in range(1, count + 1)]


def _mix(half: Half, number: int, music: list[Programme]) -> Apart:
    rng = draw(half, f"mix {number}")
    blocks = round(rng.uniform(180.0, 360.0)) * BLOCKS_PER_S
    prompts = speech(SPEECH[half][int(rng.integers(len(SPEECH[half])))])
    parts = [
        _talk(rng, prompts, blocks),
        _song(rng, music, blocks).raised(rng.uniform(-9.0, -3.0)),
        _passages(rng, music, blocks).raised(rng.uniform(-6.0, 0.0)),
        _song(rng, music, blocks).raised(-20.0),
    ]
    apart = np.stack([part.energies for part in parts], axis=1)
    start_db = GOAL.target_lufs + rng.uniform(-START_LU, START_LU) - integrated(apart.sum(axis=1))
    gains_db = start_db + rng.uniform(-2.0, 2.0, len(parts))
    peaks = np.stack([part.true_peaks_dbtp for part in parts], axis=1)
    return Apart(f"{half} mix {number}", apart * 10.0 ** (gains_db / 10.0), peaks + gains_db)


def _talk(rng: np.random.Generator, prompts: list[Programme], blocks: int) -> Programme:
    """Prompts in groups, with pauses of up to 20 s between the groups."""
    parts, length = [], 0
    while length < blocks:
        pause_s = rng.uniform(3.0, 20.0) if rng.uniform() < 0.15 else rng.uniform(0.1, 0.8)
        parts += [prompts[int(rng.integers(len(prompts)))], _pause(round(pause_s * BLOCKS_PER_S))]
        length = sum(len(part.energies) for part in parts)
    return _joined(parts, blocks)


def _passages(rng: np.random.Generator, music: list[Programme], blocks: int) -> Programme:
    """Passages of 2 to 15 s with 5 to 40 s between them."""
    parts, length = [_pause(round(rng.uniform(5.0, 40.0) * BLOCKS_PER_S))], 0
    while length < blocks:
        parts += [
            _song(rng, music, round(rng.uniform(2.0, 15.0) * BLOCKS_PER_S)),
            _pause(round(rng.uniform(5.0, 40.0) * BLOCKS_PER_S)),
        ]
        length = sum(len(part.energies) for part in parts)
    return _joined(parts, blocks)


def _song(rng: np.random.Generator, music: list[Programme], blocks: int) -> Programme:
    song = music[int(rng.integers(len(music)))]
    around = (int(rng.integers(len(song.energies))) + np.arange(blocks)) % len(song.energies)
    return Programme(song.name, song.energies[around], song.true_peaks_dbtp[around])


def _pause(blocks: int) -> Programme:
    return Programme("pause", np.full(blocks, _NOTHING), np.full(blocks, -120.0))


def _joined(parts: list[Programme], blocks: int) -> Programme:
    return Programme(
        "stem",
        np.concatenate([part.energies for part in parts])[:blocks],
        np.concatenate([part.true_peaks_dbtp for part in parts])[:blocks],
    )


@dataclass
class Found:
    """What the mixes of one half gave."""

    changes_a_minute: list[float] = field(default_factory=list)
    there_and_back: int = 0
    faders_changed: list[float] = field(default_factory=list)
    """How often a minute other stems were to be moved."""
    first_s: list[float] = field(default_factory=list)
    too_early: int = 0
    """Moves of a single stem of which less than EARLY_S had been heard."""
    errors_lu: list[float] = field(default_factory=list)
    balances_db: list[float] = field(default_factory=list)
    """How far followed moves took the faders of voice, music and passages apart."""
    moves: list[int] = field(default_factory=list)
    """Advices that a follower carried out in a pass."""


def play(mix: Apart, found: Found, *, blind: bool, is_followed: bool) -> str:
    """Plays a mix once, and counts what was shown."""
    faders = StemFaders(Mix(NAMES), GOAL)
    schedule = _NoRides(GOAL, None if blind else mix.seconds, None, faders)
    gains_db, heard_s = np.zeros(len(NAMES)), np.zeros(len(NAMES))
    in_force: list[Levels] = []
    shown: list[tuple[int, Shown]] = []
    followed = 0
    for second in range(1, int(mix.seconds) + 1):
        part = slice((second - 1) * _SECOND, second * _SECOND)
        energies = mix.energies[part] * 10.0 ** (gains_db / 10.0)
        peaks = mix.peaks_dbtp[part] + gains_db
        heard_s += np.count_nonzero(mix.energies[part] > 10.0 ** ((-70.0 + 0.691) / 10.0), axis=0) / _SECOND
        in_force += [gains_db] * _SECOND
        block = Block(_NO_FRAMES, gain_db=0.0, stem_gains_db=tuple(gains_db))
        schedule.push_blocks(_metered(energies, peaks), block)
        for step in range(2):  # faders come to rest in half a second
            schedule.update_advice(second + 0.6 * step, at_rest=False)
        now = _shown(schedule.stems)
        if now and not is_followed:
            is_alone = len({gain_db for _, gain_db in now}) > 1 or len(now) == 1
            new = not shown or now != shown[-1][1]
            found.too_early += (
                new and is_alone and any(heard_s[NAMES.index(name)] < EARLY_S for name, _ in now)
            )
        if not shown or now != shown[-1][1]:
            shown.append((second, now))
        if is_followed and now:
            followed += 1
            gains_db = gains_db + [dict(now).get(name, 0.0) for name in NAMES]
    if is_followed:
        landed = integrated((mix.energies * 10.0 ** (np.array(in_force) / 10.0)).sum(axis=1))
        found.errors_lu.append(landed - GOAL.target_lufs)
        found.balances_db.append(float(np.ptp(gains_db[:-1])))
        found.moves.append(followed)
        return f"landed {landed - GOAL.target_lufs:+.2f} LU off in {followed} advices"
    return _count(shown, mix.seconds / 60.0, found)


def _count(shown: list[tuple[int, Shown]], minutes: float, found: Found) -> str:
    changes = max(len(shown) - 1, 0)
    back = sum(
        shown[n][1] == shown[n + 2][1] and shown[n + 2][0] - shown[n][0] <= BACK_WITHIN_S
        for n in range(len(shown) - 2)
    )
    sets = [tuple(name for name, _ in one) for _, one in shown]
    others = sum(a != b for a, b in pairwise(sets))
    found.changes_a_minute.append(changes / minutes)
    found.faders_changed.append(others / minutes)
    found.there_and_back += back
    found.first_s += [next((second for second, one in shown if one), math.inf)]
    return f"{changes / minutes:.1f} changes a minute, of {others / minutes:.1f} other stems, {back} back"


def _shown(stems: tuple[Stem, ...]) -> Shown:
    return tuple((stem.name, stem.move.gain_db) for stem in stems if stem.move.gain_db)


def _metered(energies: Levels, peaks_dbtp: Levels) -> Taken:
    """Stems of different recordings share nothing: their products are those of each with itself."""
    mix = energies.sum(axis=1)
    silent = np.full(len(mix), -math.inf)
    highest = peaks_dbtp.max(axis=1)
    stems = StemBlocks(energies[:, :, None] * np.eye(energies.shape[1]), peaks_dbtp)
    return Taken(Blocks(mix, mix[:, None], highest, highest[:, None], silent, silent), stems)


def _report(half: Half, found: Found) -> None:
    changes, others = np.array(found.changes_a_minute), np.array(found.faders_changed)
    errors = np.abs(found.errors_lu)
    print(
        f"{half}: {len(changes)} mixes. Nobody follows: changes a minute median {np.median(changes):.1f}, "
        f"worst {changes.max():.1f}; other stems {np.median(others):.1f}, worst {others.max():.1f}; "
        f"there and back within {BACK_WITHIN_S} s {found.there_and_back}; first advice after "
        f"{np.median(found.first_s):.0f} s, soonest {min(found.first_s):.0f} s; "
        f"on stems hardly heard {found.too_early}."
    )
    print(
        f"{half}: followed, within {NEAR_LU} LU {100 * np.mean(errors <= NEAR_LU):.0f} %, median error "
        f"{np.median(errors):.2f}, worst {errors.max():.2f} LU, in {np.median(found.moves):.0f} advices; "
        f"faders apart by {np.median(found.balances_db):.1f} dB, worst {max(found.balances_db):.1f} dB."
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--half", choices=HALVES, action="append")
    parser.add_argument("--count", type=int, default=12)
    parser.add_argument("--blind", action="store_true")
    parser.add_argument("--each", action="store_true")
    asked = parser.parse_args()
    for half in asked.half or HALVES:
        found = Found()
        for mix in mixes(half, asked.count):
            said = [play(mix, found, blind=asked.blind, is_followed=follows) for follows in (False, True)]
            if asked.each:
                print(f"  {mix.name}: {'; '.join(said)}")
        _report(half, found)


if __name__ == "__main__":
    main()
