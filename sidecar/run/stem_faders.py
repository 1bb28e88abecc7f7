"""The faders of separately measured stems: their reported positions and the advised moves."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from sidecar.advice.stems.advisor import StemAdvisor
from sidecar.advice.stems.steady import SteadyStems
from sidecar.errors import SettingsError
from sidecar.journal.record import FaderReport
from sidecar.loudness.series import Floats, Steps
from sidecar.model.advice import Advice
from sidecar.model.readings import BLOCK_S, SILENCE, FloatArray, Move
from sidecar.model.snapshot import Opening, Stem
from sidecar.settings.goals import Goal
from sidecar.sources import Block

if TYPE_CHECKING:
    from sidecar.journal.record import StemBalance
    from sidecar.meter import StemBlocks

_ASK_S = 2.0
_ASK_SHARE = 1.0 / 900.0
"""Seconds added to the period for each second measured: a longer programme changes less and takes longer to
search. After an hour the balance from silence is computed every 6 s."""
_AT_REST_S = 0.5
"""Faders that have not moved for so long have arrived: advice is computed then, not at each step."""


@dataclass(frozen=True, slots=True)
class Mix:
    """The options of a run that concern its stems."""

    names: tuple[str, ...]
    """In the order of their channel pairs."""
    anchor: str | None = None
    """The stem (voice, lead) that is held and that the rest is balanced around."""
    keep: tuple[str, ...] = ()
    """Stems whose faders stay where they are."""
    offset_lu: float | None = None
    """How far under the anchor the rest shall lie while the anchor sounds."""
    dialogue: str | None = None
    """The stem that is the dialogue."""
    ldr_lu: float | None = None
    """What the mix shall read more than the anchor, which is the dialogue then."""

    def check_channels(self, channels: int) -> None:
        """Raises SettingsError where so many channels are not the stems side by side."""
        check_stem_channels(len(self.names), channels)


def check_stem_channels(stems: int, channels: int) -> None:
    """Raises SettingsError where *channels* are not two for each stem."""
    if channels != 2 * stems:
        raise SettingsError(
            f"{stems} stems need {2 * stems} channels, two each, and there are {channels}: name as many "
            "stems as there are, or give --channels and --pick."
        )


class StemFaders:
    """Feeds the stems of one pass and their fader gains to the advisor, and keeps the latest moves."""

    def __init__(self, mix: Mix, goal: Goal) -> None:
        """Raises SettingsError for names that are missing, double or unknown."""
        self._mix = mix
        self._advisor = StemAdvisor(
            *(mix.names, goal, mix.anchor, mix.keep), offset_lu=mix.offset_lu, ldr_lu=mix.ldr_lu
        )
        self._steady = SteadyStems(self._advisor)
        self._faders_db = np.zeros(len(mix.names))
        self._reported: set[str] = set()
        self._are_known = False
        self._was_moved = False
        self._settled_db = self._faders_db.copy()
        """The positions when the faders last were at rest."""
        self._metered_db = self._faders_db.copy()
        """Their positions in the latest blocks."""
        self._master_now_db = 0.0
        self.gains_db = self._faders_db
        """Fader gains in the latest blocks, dB, including the master fader where it is known."""
        self._reset()

    def _reset(self) -> None:
        self._peaks_dbtp = np.full(len(self._mix.names), SILENCE)
        self._steady.reset()
        self._seconds = 0.0
        self._due_s, self._rests_s = SILENCE, math.inf
        self._master_db = Steps()
        """Gain of the master fader in each block, where it is part of what was metered."""
        self.build_up: tuple[Opening, ...] = ()
        """A rough balance from silence."""

    def push_blocks(self, blocks: StemBlocks, mix_peak_dbtp: Floats, block: Block) -> None:
        """Adds 100 ms blocks.

        mix_peak_dbtp: highest true peak of the mix in each, shape (n,). block: the audio that completed them,
        with the fader gains that its source itself knows.
        """
        if len(blocks.covariance) == 0:
            return
        if block.stem_gains_db is not None:
            self._was_moved |= self._are_known and not np.array_equal(block.stem_gains_db, self._faders_db)
            self._faders_db = np.array(block.stem_gains_db)
            if not self._are_known:
                self._settled_db, self._are_known = self._faders_db.copy(), True
        self._metered_db, self._master_now_db = self._faders_db.copy(), block.gain_db or 0.0
        self.gains_db = self._faders_db + self._master_now_db
        self._master_db.append(np.full(len(blocks.covariance), self._master_now_db))
        self._push(blocks.covariance, self.gains_db, blocks.true_peak, mix_peak_dbtp)

    def restore(
        self, stems: StemBalance, mix_peak_dbtp: Floats, cuts: Sequence[int], reported: Iterable[str]
    ) -> None:
        """Restores the stems of an interrupted pass.

        mix_peak_dbtp: shape (n,). cuts: blocks before which it was cut. reported: stems whose fader positions
        were reported.
        """
        self._master_db.append(np.zeros(len(mix_peak_dbtp)))
        edges = [0, *cuts, len(mix_peak_dbtp)]
        for start, stop in pairwise(edges):
            piece = slice(start, stop)
            self._push(
                stems.covariance[piece], stems.fader_db[piece], stems.true_peak[piece], mix_peak_dbtp[piece]
            )
            self._advisor.splice()
        self._faders_db = np.array(stems.fader_db[-1], np.float64)
        self._settled_db, self._metered_db = self._faders_db.copy(), self._faders_db.copy()
        self._reported = set(reported)

    def _push(
        self, covariance: FloatArray, gains_db: FloatArray, peaks_dbtp: FloatArray, mix_peak_dbtp: Floats
    ) -> None:
        self._advisor.push(covariance, gains_db, peaks_dbtp, mix_peak_dbtp)
        self._peaks_dbtp = np.maximum(self._peaks_dbtp, peaks_dbtp.max(axis=0, initial=SILENCE))
        self._seconds += len(covariance) * BLOCK_S

    def report_position(self, stem: str, position_db: float) -> str:
        """Sets the fader position of *stem*, given by name or number from 1; returns the stem's name.

        The first report on a fader counts for the whole past. Raises SettingsError for an unknown stem, and
        for a value that is no position.
        """
        if not position_db < math.inf:  # also true for NaN
            raise SettingsError(
                f"{position_db} dB is no fader position. Check the feedback of the workstation."
            )
        name = self._named(stem)
        if self._are_known:
            return name
        place = self._mix.names.index(name)
        if name not in self._reported and position_db > SILENCE:
            self._reported.add(name)
            self._advisor.stood_at(name, position_db)
            self._settled_db[place] = position_db
        self._was_moved |= bool(position_db != self._faders_db[place])
        self._faders_db[place] = position_db
        return name

    @property
    def reports(self) -> tuple[FaderReport, ...]:
        """The reported positions as the first reports of a new pass."""
        known = zip(self._mix.names, self._faders_db, strict=True)
        return tuple(
            FaderReport(0.0, float(fader_db), is_position=True, stem=name)
            for name, fader_db in known
            if name in self._reported
        )

    def splice(self) -> None:
        """The next block does not follow the last one."""
        self._advisor.splice()

    def use_goal(self, goal: Goal) -> None:
        """Advises for *goal* from now on; the measured blocks are kept."""
        self._advisor.goal = goal
        self.ask_soon()

    def begin_next_pass(self) -> None:
        """Begins a new pass; the fader positions are kept."""
        self._advisor.reset()
        self._reset()

    def ask_soon(self) -> None:
        """Makes the next update compute the balance from silence, due or not."""
        self._due_s = SILENCE

    def settle(self, now_s: float) -> float | None:
        """Returns by how much faders that have just come to rest changed the loudness of the mix, LU; None
        where none have."""
        if self._was_moved:
            self._was_moved, self._rests_s = False, now_s + _AT_REST_S
        if now_s < self._rests_s or not np.array_equal(self._metered_db, self._faders_db):
            return None
        self._rests_s = math.inf
        before, after = (
            self._advisor.loudness(faders_db + self._master_now_db)
            for faders_db in (self._settled_db, self._faders_db)
        )
        self._settled_db = self._faders_db.copy()
        return after - before if math.isfinite(before) and math.isfinite(after) else 0.0

    def trims_db(self) -> Floats:
        """How much louder the mix of each block would be at the present stem fader positions, dB, shape
        (n,). The master fader is left as it was."""
        master_db = self._master_db.part(0, self._advisor.block_count)
        return np.asarray(self._advisor.trims_db() - (master_db[-1:] - master_db))

    def update_moves(
        self,
        now_s: float,
        advice: Advice,
        *,
        at_once: bool = False,
        land: Callable[[float], Move] | None = None,
    ) -> None:
        """Shares *advice* on the mix out among the stems, where it has looked again, and computes the balance
        from silence where that is due.

        at_once: the faders were moved or the goal has changed. land: the forecast of any move of the master
        fader, where there is one.
        """
        self._steady.update(advice, at_once=at_once, land=land)
        if now_s < self._due_s:
            return
        self._due_s = now_s + _ASK_S + self._seconds * _ASK_SHARE
        self.build_up = tuple(
            Opening(step.name, step.fader_db, step.move.reason) for step in self._advisor.build_up()
        )

    def end_pass(self, advice: Advice) -> None:
        """Shares *advice* on the next pass out among the stems."""
        self._steady.update(advice)

    def stems(self) -> tuple[Stem, ...]:
        """Every stem with its latest move."""
        return tuple(
            Stem(name, float(fader_db), self._steady.moves.get(name, Move()), float(peak_dbtp))
            for name, fader_db, peak_dbtp in zip(
                self._mix.names, self._faders_db, self._peaks_dbtp, strict=True
            )
        )

    def _named(self, stem: str) -> str:
        names = self._mix.names
        if stem in names:
            return stem
        if stem.isascii() and stem.isdigit() and 1 <= int(stem) <= len(names):
            return names[int(stem) - 1]
        raise SettingsError(f"There is no stem {stem}. Name one of: {', '.join(names)}.")
