"""All advice on one pass in one place: the programme fader, an earlier pass, guesses at moves, rides."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sidecar.advice.faders.history import FaderHistory
from sidecar.advice.faders.move_detector import Guess, MoveDetector
from sidecar.advice.programme.landing import LandingAdvisor
from sidecar.advice.rides.plan import RidePlan, plan_rides
from sidecar.loudness.series import Crests, Floats
from sidecar.model.readings import BLOCK_S, Move
from sidecar.settings.goals import Goal

_AT_ONCE = 36_000
"""An hour of blocks is told at once: more would only cost memory."""

_SAME_MOVE_S = 3.0
"""A guess this near to a move that was told of is about that one: a hand takes a second, a guess is
right within a second and a half."""


@dataclass(frozen=True, slots=True)
class Earlier:
    """A pass heard before, taken as the forecast of the one that is playing."""

    title: str
    energies: Floats
    """100 ms mean squares at a fader of 0 dB, shape (n,)."""

    @property
    def seconds(self) -> float:
        return len(self.energies) * BLOCK_S


class ProgrammeAdvisor:
    """Hears one pass and the faders that shaped it, and advises on it."""

    def __init__(
        self, goal: Goal, *, duration_s: float | None = None, earlier: Earlier | None = None
    ) -> None:
        """duration_s: length of the pass; that of *earlier* where it is not known.

        Raises SettingsError and SignalError for values that cannot be.
        """
        self.earlier = earlier
        self.duration_s = duration_s if duration_s is not None or earlier is None else earlier.seconds
        self.guess: Guess | None = None
        """A move that nobody told of; it counts only when confirmed."""
        self._landing = LandingAdvisor(goal, self.duration_s, self._profile)
        self._fader = FaderHistory()
        self._detector: MoveDetector | None = None
        self._peaks = Crests()
        """dBTP, to a second: what is told late of the fader is not known any finer."""
        self._told_s: list[float] = []

    @property
    def goal(self) -> Goal:
        return self._landing.goal

    @goal.setter
    def goal(self, goal: Goal) -> None:
        self._landing.goal = goal

    @property
    def seconds(self) -> float:
        """Programme heard."""
        return self._landing.block_count * BLOCK_S

    @property
    def metered(self) -> tuple[Floats, tuple[int, ...]]:
        """100 ms energies as metered, shape (n,), and the places before which the pass was cut."""
        return self._landing.metered

    @property
    def fader_db(self) -> float:
        """Where the programme fader stands, as far as anybody told."""
        return self._fader.position_db_at(self.seconds)

    def push_blocks(
        self, energy: Floats, true_peak_dbtp: Floats, channels: Floats, gain_db: float | None
    ) -> None:
        """Takes in 100 ms blocks as metered.

        energy, true_peak_dbtp: shape (n,). channels: energies of what is metered apart, shape (n, m).
        gain_db: the fader in force where the source itself knows it, else None.
        """
        first = self._landing.block_count
        self._peaks.append(true_peak_dbtp)
        if gain_db is not None:
            self._fader.add_feedback(first * BLOCK_S, gain_db)
        self._landing.push(energy, self._fader.gains_db(first, len(energy)), true_peak_dbtp)
        if gain_db is None and not self._fader.is_absolute:
            self._listen_for_moves(channels)

    def restore(
        self, energies: Floats, true_peaks_dbtp: Floats, cuts: Iterable[int], fader: FaderHistory
    ) -> None:
        """Takes in a pass that broke off: its 100 ms blocks, shape (n,), the places before which it was
        cut, and what was said of the fader; the next block does not follow."""
        self._fader = fader
        self._peaks.append(true_peaks_dbtp)
        self._hear(energies, true_peaks_dbtp, cuts)
        self.splice()

    def use_earlier_pass(self, earlier: Earlier | None) -> None:
        """Takes another earlier pass, or none, as the forecast; what was heard stays."""
        if self.earlier is not None and self.duration_s == self.earlier.seconds:
            self.duration_s = None
        self.earlier = earlier
        if self.duration_s is None and earlier is not None:
            self.duration_s = earlier.seconds
        self._landing.expect(self.duration_s, self._profile)

    def splice(self) -> None:
        """The next block does not follow the last one."""
        self._detector = None
        self._landing.splice()

    def fader_stands_at(self, position_db: float) -> None:
        """The fader itself said where it stands, from now on."""
        was_absolute = self._fader.is_absolute
        self._fader.add_feedback(self.seconds, position_db)
        if not was_absolute:
            self._told_s.append(self.seconds)
            self._retell()

    def fader_moved_by(self, change_db: float) -> None:
        """A person said that the fader was moved just now."""
        self._fader.moved_by(self.seconds, change_db)
        self._told_s.append(self.seconds)

    def confirm_guess(self) -> Guess | None:
        """The guess was right: the past is read with it. Returns it, None where there was none."""
        guess, self.guess = self.guess, None
        if guess is not None:
            self._fader.moved_by(guess.time_s, guess.change_db)
            self._retell()
        return guess

    def dismiss_guess(self) -> None:
        """The guess was wrong."""
        self.guess = None

    def next_pass(self) -> Move:
        """The move that lands a whole pass of what was heard."""
        return self._landing.next_pass()

    def this_pass(self) -> Move | None:
        """The move that lands the pass that is playing; None while its length is not known or is over."""
        if self.duration_s is None or self.seconds >= self.duration_s:
            return None
        return self._landing.this_pass()

    @property
    def look_again_s(self) -> float:
        """Seconds of programme after which the advice on this pass is worth another look."""
        return self._landing.look_again_s

    def fit(self) -> tuple[bool, float, float]:
        """Whether the earlier pass fits, where in it this one began (s), and what differs (dB)."""
        found = self._landing.profile_fit
        return (False, 0.0, float("inf")) if found is None else (found.fits, found.offset_s, found.error_db)

    def rides(self) -> RidePlan:
        """The rides that bring the course heard so far into the goal's limits."""
        return plan_rides(self.metered[0], self.goal)

    def material(self) -> Floats:
        """What was heard at a fader of 0 dB, for a later pass to take as its earlier one; shape (n,)."""
        return material(self.metered[0], self._fader)

    @property
    def _profile(self) -> Floats | None:
        return None if self.earlier is None else self.earlier.energies

    def _listen_for_moves(self, channels: Floats) -> None:
        if self._detector is None:
            self._detector = MoveDetector(channels.shape[1])
            self._detector_began_s = self.seconds - len(channels) * BLOCK_S
        for guess in self._detector.push(channels):
            at_s = self._detector_began_s + guess.time_s
            if all(abs(at_s - told_s) > _SAME_MOVE_S for told_s in self._told_s):
                self.guess = Guess(at_s, guess.change_db, guess.confidence)

    def _retell(self) -> None:
        """The fader stood elsewhere than was thought: all that was heard is taken in anew."""
        energies, cuts = self.metered
        self._landing = LandingAdvisor(self.goal, self.duration_s, self._profile)
        self._hear(energies, self._peaks.part(0, len(energies)), cuts)

    def _hear(self, energies: Floats, true_peaks_dbtp: Floats, cuts: Iterable[int]) -> None:
        """Tells the advisor of a whole pass so far; the fader is taken from what was said of it."""
        for place, (start, stop) in enumerate(pairwise([0, *cuts, len(energies)])):
            if place:
                self._landing.splice()
            for first in range(start, stop, _AT_ONCE):
                past = min(first + _AT_ONCE, stop)
                gains_db = self._fader.gains_db(first, past - first)
                self._landing.push(energies[first:past], gains_db, true_peaks_dbtp[first:past])


def material(energies: Floats, fader: FaderHistory) -> Floats:
    """*energies* of a pass as they would be at a fader of 0 dB, shape (n,); a closed one gives none."""
    gains_db = fader.gains_db(0, len(energies))
    heard = np.isfinite(gains_db)
    return np.where(heard, energies * 10.0 ** (-np.where(heard, gains_db, 0.0) / 10.0), 0.0)
