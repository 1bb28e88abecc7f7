"""The programme fader: moved by the sidecar where the source lets it, else only told of."""

from __future__ import annotations

from collections.abc import Callable

from sidecar.advising import Adviser
from sidecar.feed import Command
from sidecar.sources import FaderSource, Source
from sidecar.vocabulary import figure

_THERE_DB = 0.05


class ProgrammeFader:
    """Obeys what is said of the fader, and keeps the adviser's idea of where it stands."""

    def __init__(self, source: Source, adviser: Adviser, note: Callable[[str], None]) -> None:
        """note: writes one line about a move into the course."""
        self._held = source if isinstance(source, FaderSource) else None
        self._adviser = adviser
        self._note = note
        self._aim_db: float | None = None

    @property
    def is_held(self) -> bool:
        """True where the sidecar itself moves the fader."""
        return self._held is not None

    def obey(self, command: Command) -> str:
        """Does what *command* says of the fader; returns what there is to tell the person, or nothing."""
        counsel = self._adviser.counsel
        match command.verb, command.value:
            case "fader", float(position_db):
                self._stands_at(position_db)
            case "nudge", float(change_db):
                self._is_moved_by(change_db)
            case "follow", _:
                return self._follow()
            case "confirm", _:
                guess = counsel.confirm()
                if guess is not None:
                    self._note(f"fader by {figure(guess.change_db)} dB at {guess.time_s:.0f} s, as guessed")
            case "dismiss", _:
                counsel.dismiss()
        return ""

    def _stands_at(self, position_db: float) -> None:
        if self._held is not None:
            self._send(position_db)
            return
        before_db = self._adviser.counsel.fader_db
        self._adviser.counsel.fader_stands_at(position_db)
        if position_db != before_db:
            self._note(f"fader at {figure(position_db)} dB")

    def _is_moved_by(self, change_db: float) -> None:
        if self._held is not None:
            self._send(self._aimed_at(self._held.fader_db) + change_db)
            return
        self._adviser.counsel.fader_moved_by(change_db)
        self._note(f"fader by {figure(change_db)} dB")

    def _follow(self) -> str:
        if self._held is None:
            return "The sidecar does not hold this fader: make the move by hand."
        move = self._adviser.this_pass or self._adviser.next_pass
        self._send(self._adviser.counsel.fader_db + move.gain_db)
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
