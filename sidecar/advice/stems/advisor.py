"""Several faders: the fewest moves that land the mix, and a rough balance from silence."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from sidecar.advice.faders.tapers import FaderLimits
from sidecar.advice.programme.history import ENOUGH_S
from sidecar.advice.programme.landing import LEAVE_ALONE_LU
from sidecar.advice.stems.build_up import BuildStep, build_up
from sidecar.advice.stems.history import Bools, Gated, StemHistory
from sidecar.advice.stems.plans import Balance, Plan, Planner
from sidecar.advice.stems.search import MOST_FADERS
from sidecar.advice.stems.wording import join_names, landing_of, moves_sentence
from sidecar.advice.wording import ceiling
from sidecar.errors import SettingsError
from sidecar.loudness.series import Floats
from sidecar.model.readings import BLOCK_S, SILENCE, Move
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

HEARD_S = 10.0
"""A stem is advised on once so much of it was heard above the gate: two seconds of a voice are not its level.
Ours."""

_ROUNDING_DB = 1e-3
"""dB by which a peak in single precision may miss a ceiling that it meets."""


@dataclass(frozen=True, slots=True)
class _AskedBalance:
    """What the rest is to be balanced against."""

    words: str
    """The balance that is asked for."""
    plan: Callable[[Bools], Plan | Balance]
    """Returns how the faders that may be moved get there."""


class StemAdvisor:
    """Which of several faders to move so that their mix lands on the goal.

    Each stem is measured after its fader, as one channel pair of a multichannel loopback.
    """

    def __init__(
        self,
        names: Sequence[str],
        goal: Goal,
        anchor: str | None = None,
        keep: Iterable[str] = (),
        limits: FaderLimits | None = None,
        offset_lu: float | None = None,
        ldr_lu: float | None = None,
    ) -> None:
        """Makes an advisor without any measured block.

        Parameters
        ----------
        names
            One a stem, in the order in which they are measured, no two alike.
        goal
            Where the mix is to land.
        anchor
            The stem (voice, lead) that is held and that the rest is balanced around.
        keep
            Stems whose faders stay where they are.
        limits
            How far a fader may be moved; None for the usual limits.
        offset_lu
            How far under the anchor the rest shall lie while the anchor sounds, LU; None asks for no balance,
            only for the landing.
        ldr_lu
            In place of *offset_lu*: what the mix shall read more than the anchor, its dialogue, both gated
            (R 128 s4), LU.

        Raises
        ------
        SettingsError
            Names that are missing, double or unknown.
        """
        self.names = tuple(names)
        self.goal = goal
        """The goal advised on; the measured blocks are kept when it changes."""
        self.anchor = anchor
        self.keep = frozenset(keep)
        self.offset_lu = offset_lu
        self.ldr_lu = ldr_lu
        self.limits = limits or FaderLimits()
        _check_names(self.names, self.keep | ({anchor} if anchor is not None else set()))
        self._history = StemHistory(len(self.names))

    def push(
        self,
        covariance: ArrayLike,
        gains_db: ArrayLike,
        stem_peaks_dbtp: ArrayLike | None = None,
        mix_peak_dbtp: ArrayLike | None = None,
    ) -> None:
        """Adds the next 100 ms blocks of N stems, one or n at a time.

        Parameters
        ----------
        covariance
            Shape (N, N) or (n, N, N): K-weighted channel-summed mean products *as metered*, behind the
            faders: :attr:`StemBlocks.covariance`.
        gains_db
            Shape (N,) or (n, N): the faders in force, dB; ``-inf`` when all the way down. A move that is not
            given is taken for a change of the material.
        stem_peaks_dbtp
            Shape (N,) or (n, N): highest true peak of each stem as metered: :attr:`StemBlocks.true_peak`.
        mix_peak_dbtp
            Scalar or shape (n,): highest true peak of the mix as metered. Where peaks are missing, the
            ceiling limits no move, and the reason of a rise says so.

        Raises
        ------
        SignalError
            Values that no meter gives, or shapes that do not fit.
        """
        self._history.push(covariance, gains_db, stem_peaks_dbtp, mix_peak_dbtp)

    def stood_at(self, name: str, position_db: float) -> None:
        """The fader of a stem, pushed as 0 dB so far, was elsewhere all the time.

        Parameters
        ----------
        name
            One of the names it was made with.
        position_db
            Position of the fader, dB.
        """
        self._history.stood_at(self.names.index(name), position_db)

    def splice(self) -> None:
        """The next block does not follow the last one (measuring was paused): no gating block spans the
        cut."""
        self._history.splice()

    def reset(self) -> None:
        """Drops all measured blocks; the settings are kept."""
        self._history = StemHistory(len(self.names))

    @property
    def block_count(self) -> int:
        """Number of 100 ms blocks measured."""
        return len(self._history)

    def trims_db(self) -> Floats:
        """Returns how much louder each block of the mix would be at the present fader positions.

        Returns
        -------
        ndarray
            Shape (n,), dB; 0 where nothing has changed since, and where either is silent.
        """
        return self._history.trims_db()

    def loudness(self, gains_db: ArrayLike) -> float:
        """Returns the gated loudness of the mix of all measured blocks, with other fader gains.

        Exact for any fader set, whatever the stems share. Passages in which a stem with a gain was not
        measured, because its fader was closed, are left out.

        Parameters
        ----------
        gains_db
            Shape (N,), dB; ``-inf`` mutes a stem.

        Returns
        -------
        float
            LUFS; ``-inf`` where nothing is above the gate (BS.1770-5 Annex 1, equations 3 to 7).
        """
        return self._history.gated(np.asarray(gains_db, dtype=np.float64)).lufs

    def peak_bound_dbtp(self, gains_db: ArrayLike) -> float:
        """Returns a true peak that the mix cannot exceed with other fader gains.

        Parameters
        ----------
        gains_db
            Shape (N,), dB; ``-inf`` mutes a stem.

        Returns
        -------
        float
            dBTP, an upper bound; ``inf`` where peaks were not measured.
        """
        return self._history.peak_bound(np.asarray(gains_db, dtype=np.float64)).dbtp

    def moves(
        self,
        whole: Move | None = None,
        latest: Collection[str] = (),
        land: Callable[[float], Move] | None = None,
    ) -> dict[str, Move]:
        """The fewest faders to move, then the least dB, to land the mix; empty when nothing is to be done.

        All moves belong together: each carries the landing of the mix with all of them made. A balance that
        is asked for comes first: the rest is brought under the anchor, or to the LDR, by a step at a time;
        once it is there, only the master fader can land the mix. What is held is never moved, nor is a stem
        of which less than 10 s were heard, unless it moves with all others.

        Parameters
        ----------
        whole
            The move of the master fader that the stems shall make in its place, with its landing; None for
            the one that lands a whole pass of the material.
        latest
            Stems that the moves before were about. They stay the ones to move while they can do it, until
            others need at least 1.5 dB less.
        land
            Where another move of the master fader than *whole* would land, dB in; None where it changes a
            landing by as much.

        Returns
        -------
        dict[str, Move]
            By name, and only those to be moved; empty too while less than 3 s of programme were measured.
            Where the stems cannot do it, one move of 0 dB whose reason says what prevents it.
        """
        now = self._history.gated(self._history.faders_db)
        if np.count_nonzero(now.weights) * BLOCK_S < ENOUGH_S:
            return {}
        gain_db = self.goal.target_lufs - now.lufs if whole is None else whole.gain_db
        planner = Planner(self._history, now.lufs + gain_db, self.limits)
        before = np.array([name in latest for name in self.names])
        is_wanted = not self._is_left_alone(now.lufs) if whole is None else gain_db != 0.0
        if (asked := self._asked_balance(planner)) is not None:
            balance = self._balance(asked, now, before, is_wanted=is_wanted)
            if isinstance(balance, Plan):
                return self._plan_moves(planner, balance, whole, land, f"First the balance, {asked.words}.")
            return balance
        if not is_wanted:
            return {}
        plan = self._landing(planner, now, before)
        if plan:
            return self._plan_moves(planner, plan, whole, land)
        return self._obstacle(now, self._why_stuck(before))

    def build_up(self) -> list[BuildStep]:
        """A rough balance from silence: which fader to bring up next, to where, and where that lands.

        The anchor comes first, then the rest by energy; the whole lands on the goal.

        Returns
        -------
        list[BuildStep]
            In order. Stems whose fader was never open are left out.
        """
        anchor = None if self.anchor is None else self.names.index(self.anchor)
        return build_up(
            *(self._history, self.names, self.goal, self.limits, anchor), self.offset_lu, self.ldr_lu
        )

    def _asked_balance(self, planner: Planner) -> _AskedBalance | None:
        if self.anchor is None:
            return None
        place, ldr_lu, offset_lu = self.names.index(self.anchor), self.ldr_lu, self.offset_lu
        if ldr_lu is not None:
            words = f"LDR {figure(ldr_lu)} LU with {self.anchor}"
            return _AskedBalance(words, lambda free: planner.with_ldr(free, place, ldr_lu))
        if offset_lu is not None:
            words = f"{figure(offset_lu)} LU under {self.anchor}"
            return _AskedBalance(words, lambda free: planner.under_anchor(free, place, offset_lu))
        return None

    def _balance(
        self, asked: _AskedBalance, now: Gated, latest: Bools, *, is_wanted: bool
    ) -> Plan | dict[str, Move]:
        """The rest brought to the balance, or what prevents it. The anchor stays, so the landing is the
        master fader's."""
        anchor, free = str(self.anchor), self._free()
        if self._history.heard_s[self.names.index(anchor)] < HEARD_S or np.any(self._is_short(free, latest)):
            return {}
        balance = asked.plan(free)
        if isinstance(balance, Plan):
            return balance
        if balance is Balance.BLOCKED:
            return self._obstacle(now, f"The balance cannot be {asked.words}")
        if not is_wanted:
            return {}
        return self._obstacle(
            now, f"{anchor} holds the balance: only the master fader can land the mix.", anchor
        )

    def _landing(self, planner: Planner, now: Gated, latest: Bools) -> Plan | None:
        """The fewest faders of those heard, or all that may be moved, alike; None where that cannot land.

        All that were to be moved together stay together: to a hand that is one move. A stem of which little
        was heard goes with all the others, which says nothing of its level.
        """
        free = self._free()
        if np.count_nonzero(free) >= MOST_FADERS and np.all(latest[free]):
            return planner.together(free, now)
        heard = self._history.heard_s >= HEARD_S
        fewest = planner.fewest(free & (heard | latest), now, free & latest)
        if fewest is not None:
            return fewest
        is_whole_mix = bool(free[self._open()].all())
        if not free.any() or (np.any(self._is_short(free, latest)) and not is_whole_mix):
            return None
        return planner.together(free, now)

    def _is_short(self, free: Bools, latest: Bools) -> Bools:
        """Which stems have begun to sound, and not for long enough."""
        heard_s = self._history.heard_s
        return np.asarray(free & (heard_s > 0.0) & (heard_s < HEARD_S) & ~latest)

    def _free(self) -> Bools:
        return np.asarray(self._open() & ~self._held())

    def _held(self) -> Bools:
        held = self.keep | {self.anchor}
        return np.array([name in held for name in self.names])

    def _open(self) -> Bools:
        return np.asarray(self._history.faders_db > SILENCE)

    def _is_left_alone(self, lufs: float) -> bool:
        below = min(self.goal.tolerance_below_lu, LEAVE_ALONE_LU)
        above = min(self.goal.tolerance_above_lu, LEAVE_ALONE_LU)
        return self.goal.target_lufs - below <= lufs <= self.goal.target_lufs + above

    def _plan_moves(
        self,
        planner: Planner,
        plan: Plan,
        whole: Move | None,
        land: Callable[[float], Move] | None,
        why: str = "",
    ) -> dict[str, Move]:
        plan, note = self._under_ceiling(planner, plan)
        landing = landing_of(plan, plan.gated.lufs - planner.target_lufs, whole, land)
        said = whole.reason if whole and not why else why
        return moves_sentence(plan, self.names, landing, " ".join(part for part in (said, note) if part))

    def _under_ceiling(self, planner: Planner, plan: Plan) -> tuple[Plan, str]:
        """A rise of everything is cut to what the known peak allows; of other moves only a bound is known,
        so they are marked, not cut."""
        peaks, goal = planner.peaks(plan), self.goal
        rises = bool(np.any(plan.changes_db > 0.0))
        over_db = peaks.dbtp - goal.ceiling_dbtp
        if over_db <= _ROUNDING_DB:
            return plan, ""
        if math.isinf(over_db):
            return plan, "True peak was not measured: watch it." if rises else ""
        if rises and plan.is_together and peaks.is_exact:
            return planner.lowered(plan, over_db), f"The {ceiling(goal)} ceiling allows no more."
        verb = "reach" if peaks.is_exact else "may reach, at most,"
        note = f"Peaks {verb} {figure(peaks.dbtp)} dBTP, over the {ceiling(goal)} ceiling."
        return replace(plan, limited_by="ceiling"), note

    def _why_stuck(self, latest: Bools) -> str:
        """What prevents stems that cannot land the mix."""
        short = self._is_short(self._free(), latest)
        if short.any():
            names = [name for name, is_short in zip(self.names, short, strict=True) if is_short]
            return f"Less than {HEARD_S:.0f} s of {join_names(names)} were heard."
        return "The stems left to move cannot land the mix"

    def _obstacle(self, now: Gated, why: str, name: str = "") -> dict[str, Move]:
        """One move of 0 dB that says why the stems cannot do it.

        name: of the stem in the way; where none is given the loudest one that is held.
        """
        if not name:
            name = self._loudest(self._held() & self._open()) or self._loudest(self._open())
        if not why.endswith("."):
            why = f"{why}: {name} {'is held' if name in self.keep | {self.anchor} else 'stays'}."
        return {name: Move(0.0, now.lufs, now.lufs, now.lufs, "range", why)}

    def _loudest(self, stems: Bools) -> str:
        """Name of the one with most energy; empty where there is none."""
        own = [
            float(self._history.energies(_only(stem, self._history.faders_db)).sum())
            for stem in range(len(stems))
        ]
        return self.names[int(np.argmax(np.where(stems, own, -1.0)))] if stems.any() else ""


def _only(stem: int, faders_db: Floats) -> Floats:
    return np.where(np.arange(len(faders_db)) == stem, faders_db, SILENCE)


def _check_names(names: tuple[str, ...], held: frozenset[str]) -> None:
    if not names or len(set(names)) < len(names) or not all(names):
        raise SettingsError(f"Stems need names, each its own, not {', '.join(names) or 'none'}.")
    if taken := {"programme", "master", "all stems", "several stems"} & set(names):
        raise SettingsError(f"'{min(taken)}' names other faders than a stem's: give that stem another name.")
    unknown = sorted(held - set(names))
    if unknown:
        raise SettingsError(f"There is no stem {', '.join(unknown)}. Name one of: {', '.join(names)}.")
