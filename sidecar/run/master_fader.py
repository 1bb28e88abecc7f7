"""The master fader: moved by the source, reached over OSC, or only reported by a person."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from sidecar.alerts.rules import SILENCE_LUFS
from sidecar.journal.record import FaderReport
from sidecar.model.commands import Arm, Disarm, FaderAt, FaderCommand, Follow, Nudge
from sidecar.model.readings import SILENCE, Alert, FloatArray
from sidecar.model.snapshot import ArmState, FaderFeedback
from sidecar.model.units import figure, loudness
from sidecar.run.advising import AdviceSchedule
from sidecar.run.pass_log import Tell
from sidecar.run.remote_fader import RemoteFader
from sidecar.settings.goals import Goal
from sidecar.sources import FaderSource, Source

_THERE_DB = 0.05
_AT_REST_S = 0.5
"""A fader that has not moved for so long has arrived: one move is one event in the timeline."""
_SILENT_PEAK = float(10.0 ** (SILENCE_LUFS / 20.0))
"""A block whose samples stay under it is silent before it was measured: a rise does not wait for 100 ms."""
_FORBIDDEN = {
    "ceiling": "the true peak is over the ceiling.",
    "over": "the programme is too loud already.",
    "hot": "short-term is over its limit.",
}
"""Alerts that forbid a rise while they are on, and why."""
_NO_FADER = "No fader to arm. Give the workstation with --surface and --surface-at."
_NOT_ARMED = "The workstation reports this fader. Move it there, or arm it first."
_PAUSED = "the measurement is paused."


class MasterFader:
    """Carries out fader commands and keeps the advisor's fader position up to date."""

    def __init__(
        self,
        source: Source,
        advice: AdviceSchedule,
        note: Callable[[str], None],
        tell: Tell,
        remote: RemoteFader | None = None,
    ) -> None:
        """note: records one line about a move in the timeline. tell: records a fader report. remote: the
        workstation's fader where a surface reaches it; the source's own fader is then not moved.
        """
        self._knows_gain = isinstance(source, FaderSource)
        self._held = source if remote is None and isinstance(source, FaderSource) else None
        self._remote = remote
        self._advice = advice
        self._note = note
        self._tell = tell
        self._aim_db: float | None = None
        self._reported_db: float | None = None
        self._noted_db: float | None = None
        self._reported_s = SILENCE
        self._is_gated = True

    @property
    def is_held(self) -> bool:
        """True where the source lets the sidecar move its fader."""
        return self._held is not None

    @property
    def arm_state(self) -> ArmState | None:
        """Whether the sidecar may move the workstation's fader; None where it reaches none."""
        return self._remote.arm_state if self._remote else None

    def revoke(self) -> None:
        """Stops a move in progress at once, from any thread; ``disarm`` must follow."""
        if self._remote:
            self._remote.revoke()

    def report_audio(self, frames: FloatArray) -> None:
        """Reports audio that arrived, shape (n, channels)."""
        if self._remote:
            self._remote.report_audio(is_silent=self._is_gated or not _is_programme(frames))

    def report_blocks(self, energies: FloatArray, true_peaks_dbtp: FloatArray, goal: Goal) -> None:
        """Reports measured 100 ms blocks: mean squares and true peaks, shape (n,), n > 0.

        A rise stops here, in the block in which the ceiling is passed: the alert comes with the next update.
        """
        if not self._remote:
            return
        self._is_gated = not loudness(float(energies[-1])) > SILENCE_LUFS
        if float(true_peaks_dbtp.max()) > goal.ceiling_dbtp:
            self._remote.forbid_rise(_FORBIDDEN["ceiling"])

    def report_state(self, alerts: Iterable[Alert], *, is_paused: bool) -> None:
        """Forbids a rise while an alert or a pause requires it, and allows it again afterwards."""
        if not self._remote:
            return
        forbidding = [_FORBIDDEN[alert.name] for alert in alerts if _forbids(alert)]
        self._remote.forbid_rise(_PAUSED if is_paused else next(iter(forbidding), ""))

    def report_fader(self, feedback: FaderFeedback, now_s: float) -> None:
        """Reports the position of the master fader as the workstation gives it."""
        if self._remote:
            self._remote.report_fader(feedback.position_db, feedback.received_s)
        self._note_position(feedback.position_db, now_s)

    def report_touch(self) -> None:
        """Reports that a hand is on the workstation's fader."""
        if self._remote:
            self._remote.report_touch()

    def step(self) -> None:
        """Sends the next step of a move in progress."""
        if self._remote:
            self._remote.step()

    def close(self) -> None:
        """Stops all moves at the end of the run."""
        if self._remote:
            self._remote.close()

    def stood_still(self, why: str) -> None:
        """Disarms after a standstill: the operator may have left. why: what it was, as half a sentence."""
        if self._remote:
            self._remote.stood_still(why)

    def begin_anew(self, title: str) -> None:
        """Begins a new pass, forecast by the one before, called *title*; the fader position is kept."""
        position_db = self._advice.advisor.fader_db
        if self._remote:
            self._remote.begin_pass()
        self._advice.begin_next_pass(title)
        advisor = self._advice.advisor
        is_position = self._knows_gain or self._reported_db is not None or position_db == SILENCE
        if is_position:
            advisor.fader_stands_at(position_db)
        elif position_db != 0.0:
            advisor.fader_moved_by(position_db)
        if not self._knows_gain and (is_position or position_db != 0.0):
            self._tell(FaderReport(0.0, position_db, is_position=is_position))

    def look(self, now_s: float, seconds: float) -> None:
        """Makes moves that are due, and records those that have finished. seconds: programme so far.

        After the end of the pass nothing is moved by itself: the advice is then for the next pass.
        """
        if self._remote:
            gain_db = 0.0 if self._advice.is_over else self._advice.gain_left_db
            move = replace(self._advice.move, gain_db=gain_db)
            self._remote.look(seconds, move, self._advice.advisor.look_again_s)
        if self._reported_db != self._noted_db and now_s - self._reported_s >= _AT_REST_S:
            self._noted_db = self._reported_db
            self._advice.ask_soon()
            self._note(f"fader at {figure(self._reported_db or 0.0)} dB")

    def carry_out(self, command: FaderCommand, now_s: float) -> str:
        """Carries out *command*; returns why it was refused, as a sentence, or an empty string."""
        match command:
            case FaderAt(position_db):
                return self._stands_at(position_db, now_s)
            case Nudge(change_db):
                return self._is_moved_by(change_db)
            case Follow():
                return self._follow()
            case Arm():
                return self._arm()
            case Disarm(reason):
                return self._disarm(reason)

    def _stands_at(self, position_db: float, now_s: float) -> str:
        """Moves the source's own fader to a position, or records a position that a person or script gave."""
        if self._held is not None:
            return self._send(self._held, position_db)
        if self._remote is None:
            self._note_position(position_db, now_s)
            return ""
        return self._remote.move_to(position_db) if self._remote.arm_state.is_armed else _NOT_ARMED

    def _note_position(self, position_db: float, now_s: float) -> None:
        if position_db == self._reported_db == self._advice.advisor.fader_db:
            return  # workstations repeat themselves all day
        if not self._knows_gain:
            self._advice.advisor.fader_stands_at(position_db)
            self._tell(FaderReport(self._advice.advisor.seconds, position_db, is_position=True))
        self._reported_db, self._reported_s = position_db, now_s

    def _is_moved_by(self, change_db: float) -> str:
        if self._held is not None:
            return self._send(self._held, self._aimed_at(self._held.fader_db) + change_db)
        if self._remote is None:
            self._advice.advisor.fader_moved_by(change_db)
            self._tell(FaderReport(self._advice.advisor.seconds, change_db, is_position=False))
            self._note(f"fader by {figure(change_db)} dB")
            return ""
        if self._remote.arm_state.is_armed:
            return self._remote.change_by(change_db, is_advised=False)
        return _NOT_ARMED

    def _follow(self) -> str:
        gain_db = self._advice.gain_left_db
        if self._held is None and self._remote is None:
            return "The sidecar cannot move this fader. Move it yourself."
        if gain_db == 0.0:
            return "No move to make now."
        if self._held is not None:
            return self._send(self._held, self._advice.advisor.fader_db + gain_db)
        if self._remote is None:
            return ""
        # what is advised for the next pass is no more advised in this one, which would end a rise
        return self._remote.change_by(gain_db, is_advised=not self._advice.is_over)

    def _arm(self) -> str:
        return self._remote.arm() if self._remote else _NO_FADER

    def _disarm(self, reason: str) -> str:
        if self._remote is None:
            return "" if reason else _NO_FADER
        self._remote.disarm(reason or "Disarmed by you.")
        return ""

    def _aimed_at(self, position_db: float) -> float:
        """Returns the position that a fader at *position_db* is moving to, so that quick steps add up."""
        if self._aim_db is None or abs(self._aim_db - position_db) < _THERE_DB:
            return position_db
        return self._aim_db

    def _send(self, held: FaderSource, position_db: float) -> str:
        """Moves the source's own fader, at most to the end of its range; returns why it cannot move."""
        low_db, high_db = held.fader_range_db
        end_db = min(max(position_db, low_db), high_db)
        if end_db != position_db and end_db == self._aimed_at(held.fader_db):
            return f"The fader's range ends at {figure(end_db)} dB."
        self._aim_db = end_db
        held.move_fader(end_db)
        self._note(f"fader to {figure(end_db)} dB")
        return ""


def _is_programme(frames: FloatArray) -> bool:
    """True where a block is not silent and all its samples are finite."""
    peak = float(np.max(np.abs(frames)))
    return _SILENT_PEAK <= peak < math.inf  # false for NaN too


def _forbids(alert: Alert) -> bool:
    return alert.name in _FORBIDDEN and alert.state == "on"
