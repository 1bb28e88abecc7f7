"""Two floors under the error of any advice with the same looks and steps.

The omniscient knows the rest. The insider knows the law that invents the programmes, the section that is
playing to its end and all that the law has drawn before (the levels of themes and speakers, heard or not),
but not what follows; it takes the gain that is best on average over futures thrown anew.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import programmes
import programmes_by_plan
from landing_ways import GOAL, TRIALS_DB, Outcome, faster_looks, integrated
from programmes import Levels

from sidecar.advice.programme.steering import STEP_DOWN_DB, STEP_UP_DB
from sidecar.loudness.gating import Part, Powers, gated_loudness, gating_powers

SETS = {"pieces": programmes.KINDS, "plan": programmes_by_plan.KINDS}
THROWS = 30

_LAWS = programmes.KINDS | programmes_by_plan.KINDS


def dice(kind: str, draw: int) -> np.random.Generator:
    return np.random.default_rng([*kind.encode(), draw])


def programme(kind: str, draw: int) -> Levels:
    """Energies whose whole lies within ±6 LU of the target."""
    rng = dice(kind, draw)
    energies = 10.0 ** (_LAWS[kind](rng) / 10.0)
    offset_lu = GOAL.target_lufs + rng.uniform(-6.0, 6.0) - integrated(energies)
    return energies * 10.0 ** (offset_lu / 10.0)


def omniscient(material: Levels, outcome: Outcome) -> None:
    """Knows the rest."""
    _foreseen(material, outcome, lambda _: [material])


def _foreseen(material: Levels, outcome: Outcome, futures: Callable[[int], list[Levels]]) -> None:
    """Of all gains that land as near as can be on average over what may come, takes the smallest move."""
    metered, fader_db, travel = material.copy(), 0.0, 0.0
    for now in faster_looks(material):
        past, rests = Powers(gating_powers(metered[:now])), [whole[now - 3 :] for whole in futures(now)]
        landings = [
            gated_loudness([Part(past), Part(Powers(gating_powers(rest)), fader_db + TRIALS_DB)])
            for rest in rests
        ]
        error = np.mean(np.abs(np.array(landings) - GOAL.target_lufs), axis=0)
        near = TRIALS_DB[error <= error.min() + 0.002]
        move_db = min(max(float(near[np.argmin(np.abs(near))]), -STEP_DOWN_DB), STEP_UP_DB)
        fader_db, travel = fader_db + move_db, travel + abs(move_db)
        metered[now:] = material[now:] * 10.0 ** (fader_db / 10.0)
    outcome.add(metered, travel)


class _Dice:
    """Random numbers that are those of a programme for so many draws, and others from then on."""

    def __init__(self, kind: str, draw: int, draws: float, throw: int = 0) -> None:
        self.drawn, self._draws = 0, draws
        self._first, self._then = dice(kind, draw), np.random.default_rng([throw, draw])

    def __getattr__(self, name: str) -> Any:
        def draw(*given: Any, **named: Any) -> Any:
            self.drawn += 1
            return getattr(self._first if self.drawn <= self._draws else self._then, name)(*given, **named)

        return draw


def insider(kind: str, draw: int, material: Levels, outcome: Outcome) -> None:
    """Knows the law that invents the programmes, and throws its dice anew for all that follows."""
    law = _LAWS[kind]
    levels = law(whole := _Dice(kind, draw, math.inf))
    up = material[0] / 10.0 ** (levels[0] / 10.0)

    def agrees(draws: int, now: int) -> bool:
        other = law(_Dice(kind, draw, draws))
        return len(other) >= now and bool(np.all(other[:now] == levels[:now]))

    def futures(now: int) -> list[Levels]:
        fewest = bisect.bisect_left(range(whole.drawn), True, key=lambda draws: agrees(draws, now))
        thrown = [law(_Dice(kind, draw, fewest, throw)) for throw in range(1, THROWS + 1)]
        return [up * 10.0 ** (other / 10.0) for other in thrown if len(other) >= now + 4] or [material]

    _foreseen(material, outcome, futures)
