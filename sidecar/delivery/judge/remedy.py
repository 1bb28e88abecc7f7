"""What corrects a file that does not meet its goal: one static gain, and what gain alone cannot do.

Tech 3343 §3.1: a finished programme off its target is corrected by one static gain, target minus
loudness. A gain of g dB moves momentary, short-term, integrated loudness and true peak by g.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sidecar.delivery.judge.findings import Finding
from sidecar.loudness.limits import is_over, is_under
from sidecar.model.readings import SILENCE, Reading
from sidecar.model.units import figure
from sidecar.settings.goals import Goal


def gain_figure(gain_db: float) -> str:
    """A gain as it is shown: with its sign, whichever it is."""
    return f"{'+' if round(gain_db, 1) > 0 else ''}{figure(gain_db)}"


@dataclass(frozen=True, slots=True)
class Remedy:
    """What brings a file inside its goal."""

    gain_db: float
    """The static gain, a whole number of tenths; 0 where none helps or none is needed."""
    peaks_db: float = 0.0
    """What must come off the highest peaks besides, dB; 0 where gain is enough."""
    loudest_lu: float = 0.0
    """By how much the loudest passages lie too far above the rest, LU: no gain helps."""

    @property
    def is_enough(self) -> bool:
        """True when the gain alone brings the file inside."""
        return not (self.peaks_db or self.loudest_lu)


def remedy_for(reading: Reading, goal: Goal) -> Remedy:
    """The static gain that corrects *reading*; where none can, the nearest it may go, and what else must be
    done before the programme can be on the target."""
    wanted = 0.0 if _is_inside(reading.integrated, goal) else round(goal.target_lufs - reading.integrated, 1)
    peak_room = _room(reading.max_true_peak, goal.ceiling_dbtp)
    maxima_room = min((_room(value, limit) for value, limit in _maxima(reading, goal)), default=math.inf)
    gain = min(wanted, peak_room, maxima_room)
    if not is_under(reading.integrated + gain, goal.lowest_lufs):
        return Remedy(gain)
    reach = wanted if wanted <= 0 else max(0.0, gain)
    return Remedy(reach, round(max(0.0, wanted - peak_room), 1), round(max(0.0, wanted - maxima_room), 1))


def remedy_findings(reading: Reading, goal: Goal, remedy: Remedy) -> list[Finding]:
    """The remedy in sentences."""
    said = [] if remedy.is_enough else [_more_than_gain(goal, remedy)]
    if remedy.gain_db:
        said.append(_gain_sentence(reading, goal, remedy))
    return [Finding("remedy", "remedy", sentence) for sentence in said]


def _is_inside(integrated: float, goal: Goal) -> bool:
    return not (is_over(integrated, goal.highest_lufs) or is_under(integrated, goal.lowest_lufs))


def _maxima(reading: Reading, goal: Goal) -> list[tuple[float, float]]:
    pairs = (
        (reading.max_short_term, goal.max_short_term_lufs),
        (reading.max_momentary, goal.max_momentary_lufs),
    )
    return [(value, limit) for value, limit in pairs if limit is not None and value > SILENCE]


def _room(value: float, limit: float) -> float:
    """How far the gain may rise, dB; negative where it must fall. What passes as shown needs no gain; what
    is promised holds to the last digit."""
    if value > limit and not is_over(value, limit):
        return 0.0
    return math.floor((limit - value) * 10.0 + 1e-6) / 10.0


def _gain_sentence(reading: Reading, goal: Goal, remedy: Remedy) -> str:
    landing = figure(reading.integrated + remedy.gain_db)
    peak = figure(reading.max_true_peak + remedy.gain_db)
    opening = "A gain" if remedy.is_enough else "Without that, a gain"
    gain = f"{gain_figure(remedy.gain_db)} dB"
    return f"{opening} of {gain} brings it to {landing} {goal.unit} with peaks at {peak} dBTP."


def _more_than_gain(goal: Goal, remedy: Remedy) -> str:
    steps = []
    if remedy.loudest_lu:
        steps.append(f"bring the loudest passages down by {figure(remedy.loudest_lu)} LU against the rest")
    if remedy.peaks_db:
        steps.append(f"take {figure(remedy.peaks_db)} dB off the highest peaks")
    return (
        f"Gain alone does not help: {' and '.join(steps)} first, then set it to "
        f"{figure(goal.target_lufs)} {goal.unit} and measure again."
    )
