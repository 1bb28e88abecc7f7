"""Ways to land a programme with one fader, tried on the same material: a habit, a plain rule, the advice.

The habit resets the meter, reads what has played since the last move and moves by the difference. The plain
rule is the simplest that uses all that was heard: it expects the whole somewhere between the loudness heard
and the target, nearer to the first the more alike its sections are and the less is still to come.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from programmes import BLOCKS_PER_S, Levels

from sidecar.advice import LandingAdvisor
from sidecar.advice.programme.steering import look_again_s
from sidecar.loudness.gating import Part, Powers, gated_loudness, gating_powers
from sidecar.settings.goals import Goal

GOAL = Goal("television", "Television", -23.0, 0.2, 0.2, -1.0, -18.0)
LOOK = 30 * BLOCKS_PER_S
Looks = Sequence[int]
TRIALS_DB = np.arange(-400, 401) / 10.0

_SECTION = 10 * BLOCKS_PER_S
_START_LU, _SECTIONS_LU = 3.5, 4.0
_PLAIN_STEP_DB = 3.0


@dataclass
class Outcome:
    errors_lu: list[float] = field(default_factory=list)
    travel_db: float = 0.0
    looks: int = 0
    covered: int = 0

    def add(self, energies: Levels, travel_db: float) -> None:
        self.errors_lu.append(abs(integrated(energies) - GOAL.target_lufs))
        self.travel_db += travel_db

    def quantile(self, share: float) -> float:
        return float(np.quantile(self.errors_lu, share))


def integrated(energies: Levels) -> float:
    return float(gated_loudness([Part(Powers(gating_powers(energies)))]))


def every_look(material: Levels) -> Looks:
    return range(LOOK, len(material), LOOK)


def faster_looks(material: Levels) -> Looks:
    """As the advisor asks for them."""
    looks, now = [], LOOK
    while now < len(material):
        looks.append(now)
        now += round(look_again_s((len(material) - now) / BLOCKS_PER_S) * BLOCKS_PER_S)
    return looks


def habit(material: Levels, outcome: Outcome, looks: Looks) -> None:
    """Reads what has played since the last move and moves by the difference to the target."""
    metered, fader_db, since, travel = material.copy(), 0.0, 0, 0.0
    for now in looks:
        read = integrated(metered[since:now])
        move_db = round(GOAL.target_lufs - read, 1) if math.isfinite(read) else 0.0
        if move_db == 0.0:
            continue
        fader_db, since, travel = fader_db + move_db, now, travel + abs(move_db)
        metered[now:] = material[now:] * 10.0 ** (fader_db / 10.0)
    outcome.add(metered, travel)


def plain(material: Levels, outcome: Outcome, looks: Looks) -> None:
    """Expects the rest to sound like what was measured, shifted so that the whole lies where it is expected;
    of all gains takes the one that then lands nearest, at most 3 dB of it a look."""
    metered, fader_db, travel = material.copy(), 0.0, 0.0
    for now in looks:
        heard, past = Powers(gating_powers(material[:now])), Powers(gating_powers(metered[:now]))
        rest, to_come = len(material) / now - 1.0, 1.0 - now / len(material)
        wholes = gated_loudness([Part(heard), Part(heard, TRIALS_DB, rest)])
        shift_db = _nearest(wholes, _expected(material[:now], to_come), to_come)
        landings = gated_loudness([Part(past), Part(heard, fader_db + shift_db + TRIALS_DB, rest)])
        wanted_db = _nearest(landings, GOAL.target_lufs, to_come)
        move_db = min(max(wanted_db, -_PLAIN_STEP_DB), _PLAIN_STEP_DB)
        fader_db, travel = fader_db + move_db, travel + abs(move_db)
        metered[now:] = material[now:] * 10.0 ** (fader_db / 10.0)
    outcome.add(metered, travel)


def _expected(heard: Levels, to_come: float) -> float:
    """LUFS of the whole: heard and target weighed by how far each may lie from it. That of the target is
    the start's standard deviation, within ±6 LU; that of the heard shrinks with its sections and with the
    share that is still to come."""
    seen = integrated(heard)
    if not math.isfinite(seen):
        return GOAL.target_lufs
    sections = heard[: len(heard) // _SECTION * _SECTION].reshape(-1, _SECTION).mean(axis=1)
    levels = 10.0 * np.log10(sections[sections > 0.1 * sections.mean()])
    spread = (_SECTIONS_LU**2 + float(np.sum((levels - levels.mean()) ** 2))) / len(levels)
    heard_weighs = 1.0 / (spread / len(levels) * to_come)
    target_weighs = 1.0 / _START_LU**2
    return (heard_weighs * seen + target_weighs * GOAL.target_lufs) / (heard_weighs + target_weighs)


def _nearest(landings: Levels, wanted_lufs: float, to_come: float) -> float:
    """Of the gains that come as near as can be but for what rounding to tenths costs, the smallest: else a
    gain that brings the rest under the gate would win by a hair."""
    error = np.abs(landings - wanted_lufs)
    near = TRIALS_DB[error <= error.min() + 0.002 + 0.05 * to_come]
    return float(near[np.argmin(np.abs(near))])


def advised(material: Levels, outcome: Outcome, looks: Looks, profile: Levels | None = None) -> None:
    """Obeys ``this_pass`` at every look, and counts how often its band holds the landing of that move."""
    advisor = LandingAdvisor(GOAL, len(material) / BLOCKS_PER_S, profile)
    metered, fader_db, travel, done = material.copy(), 0.0, 0.0, 0
    for now in looks:
        advisor.push(metered[done:now], fader_db)
        done = now
        move = advisor.this_pass()
        fader_db, travel = fader_db + move.gain_db, travel + abs(move.gain_db)
        metered[now:] = material[now:] * 10.0 ** (fader_db / 10.0)
        if not math.isfinite(move.landing):
            continue
        outcome.looks += 1
        outcome.covered += move.landing_low - 1e-6 <= integrated(metered) <= move.landing_high + 1e-6
    outcome.add(metered, travel)


def next_pass_error(material: Levels, draw: int) -> float:
    """Worst error of ``next_pass`` over all looks after the first minute, under random fader moves."""
    rng = np.random.default_rng(draw)
    advisor, worst, fader_db = LandingAdvisor(GOAL), 0.0, 0.0
    for now in range(LOOK, len(material), LOOK):
        fader_db = float(rng.uniform(-20.0, 6.0))
        advisor.push(material[now - LOOK : now] * 10.0 ** (fader_db / 10.0), fader_db)
        move = advisor.next_pass()
        if now < 2 * LOOK or not math.isfinite(move.landing):
            continue
        truth = integrated(material[:now] * 10.0 ** ((fader_db + move.gain_db) / 10.0))
        worst = max(worst, abs(truth - move.landing))
    return worst
