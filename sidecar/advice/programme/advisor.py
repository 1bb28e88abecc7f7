"""All advice on one pass: the master fader, an earlier pass, detected moves, rides."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sidecar.advice.faders.history import FaderHistory
from sidecar.advice.programme.earlier_pass import Compare, Heard, compare
from sidecar.advice.programme.landing import LandingAdvisor
from sidecar.advice.programme.outlook import Outlook
from sidecar.advice.rides.plan import RidePlan, plan_rides
from sidecar.loudness.series import Crests, Floats
from sidecar.model.readings import BLOCK_S, Move
from sidecar.settings.goals import Goal

_AT_ONCE = 36_000
"""Blocks pushed at once, an hour of them: more would only cost memory."""

_WAITING = 10
"""Blocks that wait to be taken in together, unless something is asked: ten cost hardly more than one."""


@dataclass(frozen=True, slots=True)
class Earlier:
    """A pass measured before, used as the forecast of the present one."""

    title: str
    energies: Floats
    """100 ms mean squares at a fader of 0 dB, shape (n,)."""

    @property
    def seconds(self) -> float:
        return len(self.energies) * BLOCK_S


class ProgrammeAdvisor:
    """Advises on one pass from its metered blocks and the positions of its master fader."""

    def __init__(
        self,
        goal: Goal,
        *,
        duration_s: float | None = None,
        earlier: Earlier | None = None,
        compare: Compare = compare,
    ) -> None:
        """duration_s: length of the pass; that of *earlier* where it is not known. compare: finds the pass in
        *earlier*.

        Raises SettingsError and SignalError for invalid values.
        """
        self.earlier = earlier
        self.duration_s = duration_s if duration_s is not None or earlier is None else earlier.seconds
        self._compare = compare
        self._taken_in = LandingAdvisor(goal, self.duration_s, self._profile, compare=compare)
        self._waiting: list[tuple[Floats, Floats]] = []
        """Blocks that are not taken in yet: energies and peaks."""
        self._count = 0
        self._fader = FaderHistory()
        self._peaks = Crests()
        """dBTP, one value a second: late reports on the fader are no more precise in time."""
        self._trims_db: Floats = np.empty(0)

    @property
    def goal(self) -> Goal:
        return self._landing.goal

    @goal.setter
    def goal(self, goal: Goal) -> None:
        self._landing.goal = goal

    @property
    def seconds(self) -> float:
        """Seconds of programme measured."""
        return self._count * BLOCK_S

    @property
    def metered(self) -> tuple[Floats, tuple[int, ...]]:
        """100 ms energies as metered, shape (n,), and the places before which the pass was cut."""
        return self._landing.metered

    @property
    def fader_db(self) -> float:
        """Position of the master fader by all feedback and reports so far, dB."""
        return self._fader.position_db_at(self.seconds)

    def push_blocks(self, energy: Floats, true_peak_dbtp: Floats, gain_db: float | None) -> None:
        """Adds 100 ms blocks as metered.

        energy, true_peak_dbtp: shape (n,). gain_db: the fader in force where the source itself knows it,
        else None.
        """
        if gain_db is not None and not self._fader.repeats(gain_db):  # or it would grow all day
            self._take_in()
            self._fader.add_feedback(self.seconds, gain_db)
        self._waiting.append((energy, true_peak_dbtp))
        self._count += len(energy)
        if len(self._waiting) >= _WAITING:
            self._take_in()

    def restore(
        self, energies: Floats, true_peaks_dbtp: Floats, cuts: Iterable[int], fader: FaderHistory
    ) -> None:
        """Restores an interrupted pass: its 100 ms blocks, shape (n,), the blocks before which it was cut,
        and the fader history; the next block does not follow the last one."""
        self._fader = fader
        self._peaks.append(true_peaks_dbtp)
        self._count = len(energies)
        self._push_pass(energies, true_peaks_dbtp, cuts)
        self.splice()

    def use_earlier_pass(self, earlier: Earlier | None) -> None:
        """Uses *earlier* as the forecast, None for no forecast; the measured blocks are kept."""
        if self.earlier is not None and self.duration_s == self.earlier.seconds:
            self.duration_s = None
        self.earlier = earlier
        if self.duration_s is None and earlier is not None:
            self.duration_s = earlier.seconds
        self._landing.expect(self.duration_s, self._profile)

    def expect_length(self, duration_s: float) -> None:
        """Takes the pass to be *duration_s* long; the measured blocks are kept."""
        self.duration_s = duration_s
        self._landing.expect(duration_s, self._profile)

    def splice(self) -> None:
        """The next block does not follow the last one."""
        self._landing.splice()

    def fader_stands_at(self, position_db: float) -> None:
        """Sets the fader position from now on, as given by feedback, dB."""
        self._take_in()
        was_absolute = self._fader.is_absolute
        self._fader.add_feedback(self.seconds, position_db)
        if not was_absolute:
            self._rebuild()

    def fader_moved_by(self, change_db: float) -> None:
        """Changes the fader position from now on by a move that a person reported, dB."""
        self._take_in()
        self._fader.moved_by(self.seconds, change_db)

    def use_trims(self, trims_db: Floats) -> None:
        """Takes the past to have been so much louder, dB, shape (n,): stem faders have moved since, and the
        rest will sound as they are now. What was metered stays what was metered."""
        self._trims_db = trims_db
        self._rebuild()

    @property
    def rest_s(self) -> float:
        """Seconds of programme still to come; ``inf`` where the length is not known."""
        return math.inf if self.duration_s is None else max(0.0, self.duration_s - self.seconds)

    @property
    def landing(self) -> float:
        """What the pass so far reads, LUFS."""
        return self._landing.landing

    @property
    def peak_dbtp(self) -> float:
        """Highest true peak of the material so far at the present fader, dBTP."""
        return self._landing.peak_dbtp

    @property
    def is_silent(self) -> bool:
        """True once nothing above the absolute gate was metered for five seconds."""
        return self._landing.is_silent

    def outlook(self, stray_db: float, *, at_rest: bool = False) -> Outlook | None:
        """Returns what the forecast says now; None while too little was measured, and after the pass.

        at_rest: nothing plays, so that a pass of unknown length may be over.
        """
        return self._landing.outlook(stray_db, at_rest=at_rest)

    def range_widened_lu(self) -> float:
        """Returns how much the fader moves so far have widened the loudness range of the pass, LU."""
        return self._landing.range_widened_lu()

    def next_pass(self) -> Move:
        """Returns the move that lands a whole pass of the material measured so far."""
        return self._landing.next_pass()

    def this_pass(self) -> Move | None:
        """Returns the move that lands the present pass; None while its length is unknown or after its end."""
        if self.duration_s is None or self.seconds >= self.duration_s:
            return None
        return self._landing.this_pass()

    @property
    def look_again_s(self) -> float:
        """Seconds of programme after which the advice on this pass should be computed again."""
        return self._landing.look_again_s

    @property
    def heard(self) -> Heard:
        """What of this pass is compared with an earlier one: a copy."""
        return self._landing.heard

    def fit(self) -> tuple[bool, float, float]:
        """Returns whether the earlier pass fits, where in it this one began (s), and the difference (dB)."""
        found = self._landing.earlier_fit
        return (False, 0.0, float("inf")) if found is None else (found.fits, found.offset_s, found.error_db)

    def rides(self) -> RidePlan:
        """Returns the rides that bring the pass so far into the goal's limits."""
        energies, cuts = self.metered
        return plan_rides(energies, self.goal, cuts)

    def material(self) -> Floats:
        """Returns 100 ms energies at a fader of 0 dB, and with the stem faders as they were last, as the
        forecast of a later pass; shape (n,)."""
        energies = material(self.metered[0], self._fader)
        energies[: len(self._trims_db)] *= 10.0 ** (self._trims_db / 10.0)
        return energies

    @property
    def _profile(self) -> Floats | None:
        return None if self.earlier is None else self.earlier.energies

    @property
    def _landing(self) -> LandingAdvisor:
        """The landing advisor, with all blocks."""
        self._take_in()
        return self._taken_in

    def _take_in(self) -> None:
        waiting, self._waiting = self._waiting, []
        if not waiting:
            return
        energies = np.concatenate([energy for energy, _ in waiting])
        peaks_dbtp = np.concatenate([peak_dbtp for _, peak_dbtp in waiting])
        self._peaks.append(peaks_dbtp)
        gains_db = self._fader.gains_db(self._taken_in.block_count, len(energies))
        self._taken_in.push(energies, gains_db, peaks_dbtp)

    def _rebuild(self) -> None:
        """Pushes all blocks into a new landing advisor, after the fader's past positions have changed."""
        energies, cuts = self.metered
        self._taken_in = LandingAdvisor(self.goal, self.duration_s, self._profile, compare=self._compare)
        self._push_pass(energies, self._peaks.part(0, len(energies)), cuts)

    def _push_pass(self, energies: Floats, true_peaks_dbtp: Floats, cuts: Iterable[int]) -> None:
        """Pushes a whole pass into the landing advisor, with the gains of the fader history."""
        for place, (start, stop) in enumerate(pairwise([0, *cuts, len(energies)])):
            if place:
                self._taken_in.splice()
            for first in range(start, stop, _AT_ONCE):
                past = min(first + _AT_ONCE, stop)
                gains_db = self._fader.gains_db(first, past - first)
                trims_db = self._trims_db[first:past]
                gains_db[: len(trims_db)] -= trims_db
                self._taken_in.push(energies[first:past], gains_db, true_peaks_dbtp[first:past])


def material(energies: Floats, fader: FaderHistory) -> Floats:
    """Returns *energies* of a pass brought back to a fader of 0 dB, shape (n,); 0 where it was closed."""
    gains_db = fader.gains_db(0, len(energies))
    is_open = np.isfinite(gains_db)
    return np.where(is_open, energies * 10.0 ** (-np.where(is_open, gains_db, 0.0) / 10.0), 0.0)
