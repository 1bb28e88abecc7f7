"""The programme fader: held by the source, reached over OSC, or only told of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from sidecar.journal.record import FaderReport
from sidecar.model.readings import SILENCE, figure
from sidecar.model.snapshot import ArmState, Command
from sidecar.run.advising import AdviceSchedule
from sidecar.run.pass_log import Tell
from sidecar.run.remote_fader import RemoteFader
from sidecar.sources import FaderSource, Source

_THERE_DB = 0.05
_AT_REST_S = 0.5
"""A fader that has not moved for so long has arrived: one move is one event in the course."""


class ProgrammeFader:
    """Obeys what is said of the fader, and keeps the adviser's idea of where it stands."""

    def __init__(
        self,
        source: Source,
        adviser: AdviceSchedule,
        note: Callable[[str], None],
        tell: Tell,
        remote: RemoteFader | None = None,
    ) -> None:
        """note: writes one line about a move into the course. tell: takes what is said of the fader.
        remote: the workstation's fader where a surface reaches it; the source's own is then left to it.
        """
        self._knows_gain = isinstance(source, FaderSource)
        self._held = source if remote is None and isinstance(source, FaderSource) else None
        self._remote = remote
        self._adviser = adviser
        self._note = note
        self._tell = tell
        self._aim_db: float | None = None
        self._heard_db: float | None = None
        self._noted_db: float | None = None
        self._heard_s = SILENCE

    @property
    def is_held(self) -> bool:
        """True where the sidecar itself moves the fader."""
        return self._held is not None

    @property
    def hand(self) -> ArmState | None:
        """Whether the sidecar may move the workstation's fader; None where it reaches none."""
        return self._remote.hand if self._remote else None

    def audio(self, now_s: float) -> None:
        """Audio arrived."""
        if self._remote:
            self._remote.audio(now_s)

    def step(self, now_s: float) -> None:
        """Goes on with a move that is on its way."""
        if self._remote:
            self._remote.step(now_s)

    def slept(self) -> None:
        """The machine slept: whoever gave leave may be gone."""
        if self._remote:
            self._remote.slept()

    def begin_anew(self, title: str) -> None:
        """A new pass, the one before by that title its forecast; the fader stands where it stood."""
        position_db = self._adviser.counsel.fader_db
        self._adviser.begin_anew(title)
        counsel = self._adviser.counsel
        is_position = self._knows_gain or self._heard_db is not None or position_db == SILENCE
        if is_position:
            counsel.fader_stands_at(position_db)
        elif position_db != 0.0:
            counsel.fader_moved_by(position_db)
        if not self._knows_gain and (is_position or position_db != 0.0):
            self._tell(FaderReport(0.0, position_db, is_position=is_position))

    def look(self, now_s: float, seconds: float) -> None:
        """Makes moves that are due, and notes those that have arrived. seconds: programme so far.

        Behind the end of the pass nothing is moved unasked: what is advised then is for the next one.
        """
        if self._remote and not self._adviser.is_over:
            move = replace(self._adviser.move, gain_db=self._adviser.gain_left_db)
            self._remote.look(now_s, seconds, move, self._adviser.counsel.look_again_s)
        if self._heard_db != self._noted_db and now_s - self._heard_s >= _AT_REST_S:
            self._noted_db = self._heard_db
            self._adviser.ask_soon()
            self._note(f"fader at {figure(self._heard_db or 0.0)} dB")

    def obey(self, command: Command, now_s: float) -> str:
        """Does what *command* says of the fader; returns what there is to tell the person, or nothing."""
        match command.verb, command.value:
            case "fader", float(position_db):
                self._stands_at(position_db, now_s)
            case "nudge", float(change_db):
                return self._is_moved_by(change_db, now_s)
            case "follow", _:
                return self._follow(now_s)
            case "arm" | "disarm", _:
                return self._arm(command.verb == "arm", now_s)
            case "confirm" | "dismiss", question:
                return self._answer(command.verb == "confirm", question)
        return ""

    def _answer(self, yes: bool, question: object) -> str:
        """An answer to *question* where the person saw one; a newer question is not answered by it."""
        if question and question != self._adviser.guess:
            return "That question has gone; look again."
        counsel = self._adviser.counsel
        if not yes:
            counsel.dismiss()
            return ""
        guess = counsel.confirm()
        if guess is not None:
            self._tell(FaderReport(guess.time_s, guess.change_db, is_position=False))
            self._note(f"fader by {figure(guess.change_db)} dB at {guess.time_s:.0f} s, as guessed")
        return ""

    def _stands_at(self, position_db: float, now_s: float) -> None:
        if self._held is not None:
            self._send(position_db)
            return
        if self._remote:
            self._remote.stands_at(now_s, position_db)
        if not self._knows_gain:
            self._adviser.counsel.fader_stands_at(position_db)
            self._tell(FaderReport(self._adviser.counsel.seconds, position_db, is_position=True))
        if position_db != self._heard_db:
            self._heard_db, self._heard_s = position_db, now_s

    def _is_moved_by(self, change_db: float, now_s: float) -> str:
        if self._held is not None:
            self._send(self._aimed_at(self._held.fader_db) + change_db)
        elif self._remote is None:
            self._adviser.counsel.fader_moved_by(change_db)
            self._tell(FaderReport(self._adviser.counsel.seconds, change_db, is_position=False))
            self._note(f"fader by {figure(change_db)} dB")
        elif self._remote.hand.is_armed:
            self._remote.change_by(now_s, change_db)
        else:
            return "The workstation itself tells where its fader stands: move it there, or arm it first."
        return ""

    def _follow(self, now_s: float) -> str:
        gain_db = self._adviser.gain_left_db
        if self._held is not None:
            if gain_db != 0.0:
                self._send(self._adviser.counsel.fader_db + gain_db)
            return ""
        if self._remote is None:
            return "The sidecar does not hold this fader: make the move by hand."
        self._remote.change_by(now_s, gain_db)
        return ""

    def _arm(self, leave: bool, now_s: float) -> str:
        if self._remote is None:
            return "There is no fader to arm: name the workstation's with --surface and --surface-at."
        if leave:
            self._remote.arm(now_s)
        else:
            self._remote.disarm()
        return ""

    def _aimed_at(self, position_db: float) -> float:
        """Where a fader at *position_db* is on its way to: quick steps add up before it gets there."""
        if self._aim_db is None or abs(self._aim_db - position_db) < _THERE_DB:
            return position_db
        return self._aim_db

    def _send(self, position_db: float) -> None:
        if self._held is not None:
            self._aim_db = position_db
            self._held.move_fader(position_db)
            self._note(f"fader to {figure(position_db)} dB")
