"""A workstation's programme fader, moved over OSC: only while armed, and given back at the first doubt."""

from __future__ import annotations

from collections.abc import Callable

from sidecar.advice.faders.arming import Arming
from sidecar.advice.faders.auto_follow import LOOK_S, AutoFollow
from sidecar.model.readings import SILENCE, Move
from sidecar.model.snapshot import ArmState
from sidecar.surfaces.surface import Surface

_SEND_S = 0.05
"""Between two positions on the way: 20 a second, as smooth as a hand and no load for a surface."""


class RemoteFader:
    """Arming, the ramp and the unasked moves of one fader; lives on the worker's thread."""

    def __init__(self, surface: Surface, move: Callable[[float], None], *, at_once: bool = False) -> None:
        """move: sends the fader to a position in dB; must return at once.
        at_once: arms by itself as soon as that can be, once; for a fader that can hurt nobody.
        """
        self._title = surface.title
        self._move = move
        self._arming = Arming(surface.limits)
        self._obeying = AutoFollow()
        self._wants_arming = at_once
        self._position_db: float | None = None
        self._sent_s = SILENCE

    @property
    def hand(self) -> ArmState:
        """What the person sees of it."""
        return ArmState(self._title, self._arming.armed, self._arming.notice)

    def stands_at(self, now_s: float, position_db: float) -> None:
        """The workstation said where the fader stands."""
        self._position_db = position_db
        self._arming.feedback(now_s, position_db)

    def arm(self, now_s: float) -> None:
        """Gives leave; the hand's sentence says what came of it."""
        self._arming.arm(now_s)

    def disarm(self) -> None:
        """Takes leave back."""
        self._arming.disarm()

    def slept(self) -> None:
        """The machine slept: whoever gave leave may be gone, and the headphones on again."""
        if self._arming.armed:
            self._arming.disarm("Disarmed: the machine slept; arm it again.")

    def audio(self, now_s: float) -> None:
        """Audio arrived."""
        self._arming.audio(now_s)
        if self._wants_arming and self._position_db is not None:
            self._wants_arming = not self._arming.arm(now_s).granted

    def change_by(self, now_s: float, change_db: float) -> None:
        """Asks for the fader to move from where it stands."""
        if self._position_db is None:
            self._arming.notice = "The fader has never said where it stands; switch its feedback on."
            return
        self._arming.ask(now_s, self._position_db + change_db)

    def look(self, now_s: float, seconds: float, move: Move, look_s: float = LOOK_S) -> None:
        """Makes the advised move unasked, when it is time.

        seconds: programme since the reset. look_s: how long to wait between two moves.
        """
        if self._position_db is None:
            return
        target_db = self._obeying.target_db(
            seconds, move, self._position_db, is_armed=self._arming.armed, look_s=look_s
        )
        if target_db is not None:
            self._arming.ask(now_s, target_db)

    def step(self, now_s: float) -> None:
        """Sends the next position on the way, where one is due."""
        if now_s - self._sent_s < _SEND_S:
            return
        position_db = self._arming.next_position(now_s)
        if position_db is not None:
            self._sent_s = now_s
            self._move(position_db)
