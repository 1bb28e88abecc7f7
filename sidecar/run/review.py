"""A finished pass, recorded or in a file, as a feed for the screen, compared with any goal."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sidecar.advice.faders.history import FaderHistory
from sidecar.advice.programme.advisor import ProgrammeAdvisor
from sidecar.delivery.judge.remedy import remedy_findings, remedy_for
from sidecar.errors import SettingsError
from sidecar.loudness.gating import Part, Powers, gated_loudness, gating_powers
from sidecar.loudness.limits import are_over
from sidecar.loudness.series import Floats
from sidecar.loudness.statistics import runs
from sidecar.model.advice import Advice
from sidecar.model.commands import Command, SelectGoal
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.foreign_text import printable
from sidecar.model.readings import BLOCK_S, SILENCE, Move, Reading
from sidecar.model.snapshot import Event, Snapshot, Timeline
from sidecar.model.units import figure
from sidecar.run.dialogue import flags_of_record
from sidecar.run.stem_faders import Mix, StemFaders
from sidecar.settings.goals import Goal, all_goals, goal_named

if TYPE_CHECKING:
    from sidecar.delivery.measure.whole_file import Measured
    from sidecar.journal.record import Record, StemBalance

_NOTICE = "This pass is over. Left and right look back; comma and full stop go from event to event."
_EACH_BLOCK_S = 60.0
"""Up to here integrated loudness is computed at each block; later, where it hardly changes, each second."""
_BRIDGE_BLOCKS = 10
"""Peaks over the ceiling that are no more than a second apart are one event."""


@dataclass(frozen=True, slots=True)
class FinishedPass:
    """What is known of a pass that is over. The arrays have one entry for each 100 ms, shape (n,)."""

    title: str
    rate_hz: int
    layout: str
    reading: Reading
    history: Timeline
    energies: Floats
    """K-weighted, channel-summed mean squares, linear."""
    true_peak: Floats
    """dBTP, the highest of all channels."""
    cuts: tuple[int, ...] = ()
    """Places before which it is not of one piece."""
    fader: FaderHistory | None = None
    """None where nothing is known of it."""
    dropped_samples: int = 0
    stem_names: tuple[str, ...] = ()
    stems: StemBalance | None = None
    reported_stems: frozenset[str] = frozenset()
    dialogue: DialogueLoudness | None = None
    """None where it was not measured."""
    is_file: bool = False
    """A finished file: measured whole, without a fader and without events of a run."""


class Review:
    """The feed of a finished pass. Its calls return at once; another goal is computed in a thread."""

    def __init__(self, past: FinishedPass, goal: Goal) -> None:
        self._past = past
        self._busy = threading.Lock()
        self._asked_for = goal
        self._history = past.history
        self._snapshot = Snapshot(
            transport="ended",
            goal=goal,
            reading=past.reading,
            source=printable(past.title),
            rate_hz=past.rate_hz,
            layout=past.layout,
            duration_s=past.reading.seconds,
            fader_db=0.0 if past.fader is None else past.fader.position_db_at(past.reading.seconds),
            dropped_samples=past.dropped_samples,
            dialogue=past.dialogue,
            notice=_NOTICE,
        )
        self._hold_against(goal)

    def snapshot(self) -> Snapshot:
        return self._snapshot

    def timeline(self) -> Timeline:
        return self._history

    def goals(self) -> Sequence[Goal]:
        return all_goals()

    def send_command(self, command: Command) -> None:
        """Compares the pass with another goal.

        Raises SettingsError for a command that would change the pass, and for an unknown goal.
        """
        if not isinstance(command, SelectGoal):
            raise SettingsError("This pass is over. Only its goal can be changed here.")
        self._asked_for = goal = goal_named(command.name)
        self._snapshot = replace(self._snapshot, notice=f"Comparing with {goal.title} …")
        threading.Thread(target=self._hold_against, args=(goal,), name="review", daemon=True).start()

    def _hold_against(self, goal: Goal) -> None:
        """Computes the advice on the whole pass for *goal*; the latest goal selected wins."""
        with self._busy:
            if goal is not self._asked_for:  # threads come out of a lock in any order
                return
            past = self._past
            advisor = ProgrammeAdvisor(goal)
            advisor.restore(past.energies, past.true_peak, past.cuts, past.fader or FaderHistory())
            plan = advisor.rides()
            stems = _stem_faders(past, goal)
            if stems:
                advisor.use_trims(stems.trims_db())
            if past.is_file:
                self._history = replace(past.history, events=_peaks_over(past.true_peak, goal))
            move = _file_move(past.reading, goal) if past.is_file else advisor.next_pass()
            advice = Advice("ended", move, from_top=move)
            if stems:
                stems.update_moves(0.0, advice)
            self._snapshot = replace(
                self._snapshot,
                goal=goal,
                advice=advice,
                rides=plan.rides,
                rides_reason=plan.reason,
                stems=stems.stems() if stems else (),
                build_up=stems.build_up if stems else (),
                notice=_NOTICE,
            )


def past_of_record(record: Record) -> FinishedPass:
    """Returns the finished pass of *record*, as it was measured."""
    from sidecar.journal.resume import resumable

    kept, summary = resumable(record), record.summary
    return FinishedPass(
        title=f"pass {summary.id}, {summary.about.source}",
        rate_hz=kept.rate_hz,
        layout=kept.layout,
        reading=kept.reading,
        history=replace(
            kept.history,
            events=tuple(map(_printable, kept.history.events)),
            dialogue=flags_of_record(kept),
        ),
        energies=kept.energies,
        true_peak=kept.true_peak,
        cuts=kept.cuts,
        fader=kept.fader,
        dropped_samples=kept.dropped_samples,
        stem_names=summary.about.stems,
        stems=kept.stems,
        reported_stems=kept.reported_stems,
        dialogue=summary.dialogue,
    )


def past_of_file(measured: Measured) -> FinishedPass:
    """Returns the finished pass of a sound file that was measured whole."""
    history = measured.history
    count = history.energy.size
    return FinishedPass(
        title=Path(measured.file).name,
        rate_hz=measured.sample_rate,
        layout=measured.layout,
        reading=measured.reading,
        history=Timeline(
            ((np.arange(count) + 1) * BLOCK_S).astype(np.float32),
            history.short_term,
            integrated_history(history.energy),
            np.full(count, np.nan, np.float32),
        ),
        energies=history.energy,
        true_peak=history.true_peak.max(axis=1, initial=SILENCE).astype(np.float64),
        is_file=True,
    )


def _printable(event: Event) -> Event:
    return replace(event, text=printable(event.text))


def integrated_history(energies: Floats) -> NDArray[np.float32]:
    """Integrated loudness, LUFS, from the beginning to the end of each 100 ms block: shape (n,), float32.

    energies: shape (n,), one unbroken run. After the first minute it holds for a second at a time.
    Source: ITU-R BS.1770-5 Annex 1, both gates set anew each time.
    """
    powers, so_far = gating_powers(energies), Powers()
    each = round(_EACH_BLOCK_S / BLOCK_S)
    ends = [*range(1, min(each, energies.size) + 1), *range(each + 10, energies.size, 10), energies.size]
    history, taken, done = np.full(energies.size, SILENCE, np.float32), 0, 0
    for end in ends:
        ready = max(0, end - (energies.size - powers.size))
        so_far.append(powers[taken:ready])
        history[done:end] = gated_loudness([Part(so_far)])
        taken, done = ready, end
    return history


def _file_move(reading: Reading, goal: Goal) -> Move:
    """The remedy that a check gives. A gain on a finished file lands where it is worked out to land: the band
    of the landing has no width."""
    damage = (
        f"{reading.bad_samples:,} samples are no numbers. Export the file again."
        if reading.bad_samples
        else ""
    )
    if reading.integrated == SILENCE:
        return Move(reason=damage or "Nothing is above the gate at −70 LUFS.")
    remedy = remedy_for(reading, goal)
    landing = reading.integrated + remedy.gain_db
    words = [finding.sentence for finding in remedy_findings(reading, goal, remedy)]
    if not (words or damage):
        words = [f"It is inside {goal.title} as it is."]
    return Move(
        gain_db=remedy.gain_db,
        landing=landing,
        landing_low=landing,
        landing_high=landing,
        limited_by="ceiling" if remedy.peaks_db else None,
        reason=" ".join([damage, *words]).strip(),
    )


def _stem_faders(past: FinishedPass, goal: Goal) -> StemFaders | None:
    """Returns the faders of the recorded stems, without anchor or kept ones; None without stems."""
    if past.stems is None:
        return None
    faders = StemFaders(Mix(past.stem_names), goal)
    faders.restore(past.stems, past.true_peak, past.cuts, past.reported_stems)
    return faders


def _peaks_over(true_peak: Floats, goal: Goal) -> tuple[Event, ...]:
    """Where the true peak was over the ceiling, with the highest of each place."""
    return tuple(
        Event(
            round(first * BLOCK_S, 1),
            "alert",
            f"ceiling {figure(float(true_peak[first:past].max()))} dBTP",
        )
        for first, past in runs(are_over(true_peak, goal.ceiling_dbtp), _BRIDGE_BLOCKS)
    )
