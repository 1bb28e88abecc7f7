"""A workstation's master fader, moved over OSC: only while armed, and given back at the first doubt."""

from __future__ import annotations

from sidecar.advice.faders.arming import Arming
from sidecar.advice.faders.auto_follow import LOOK_S, AutoFollow
from sidecar.advice.faders.tapers import RISE_DB_PER_S
from sidecar.model.readings import SILENCE, Move
from sidecar.model.snapshot import ArmState
from sidecar.surfaces.fader_line import FaderLine
from sidecar.surfaces.surface import Surface

_QUERY_S = 1.0
"""Between two questions for the position of an armed fader: half of the age at which one gets too old."""
_SEND_S = 0.05
"""Between two positions on the way: 20 a second, as smooth as a hand and no load for a surface."""


class RemoteFader:
    """Arming and automatic moves of one fader; used by the measuring thread only, but for :meth:`revoke`.

    Its time is the line's, real time, whatever the run counts in.
    """

    def __init__(self, surface: Surface, line: FaderLine, *, at_once: bool = False) -> None:
        """line: the guarded way to the fader.
        at_once: arms by itself as soon as possible, once; for a fader that drives no loudspeaker.
        """
        self._title = surface.title
        self._line = line
        self._arming = Arming(surface.limits)
        self._auto_follow = AutoFollow()
        self._wants_arming = at_once
        self._is_advised = False
        self._position_db: float | None = None
        self._stepped_s = self._queried_s = SILENCE

    @property
    def arm_state(self) -> ArmState:
        """What the person sees of it."""
        arming, limits = self._arming, self._arming.limits
        return ArmState(
            self._title,
            arming.armed,
            arming.notice,
            is_waiting=arming.is_waiting,
            step_up_db=limits.step_up_db,
            total_up_db=limits.total_up_db,
            rate_db_s=RISE_DB_PER_S,
        )

    def report_fader(self, position_db: float, received_s: float) -> None:
        """The workstation reported its fader position; received_s: when, on the clock of the line."""
        self._position_db = position_db
        self._arming.report_fader(self._line.clock(), position_db, received_s)
        self._wants_arming = self._wants_arming and not self._arming.armed
        self._close_unless_armed()

    def report_touch(self) -> None:
        """A hand is on the fader."""
        self._arming.report_touch()
        self._close_unless_armed()

    def arm(self) -> str:
        """Requests arming; returns why it was refused, as a sentence, or an empty string.

        The sentence of the arm state says in either case what becomes of it.
        """
        if self._arming.armed:
            self._arming.arm(self._line.clock())
            return ""
        if refusal := self._line.open():
            self._arming.notice = refusal
            return refusal
        self._arming.arm(self._line.clock())
        self._queried_s = SILENCE
        if not self._arming.is_waiting:
            self._line.close()
            return self._arming.notice
        if self._line.stranger:
            self._arming.notice = f"{self._line.stranger} {self._arming.notice}"
        return ""

    def revoke(self) -> None:
        """Stops everything that is on its way, at once and from any thread; :meth:`disarm` must follow."""
        self._line.revoke()

    def disarm(self, notice: str = "Disarmed by you.") -> None:
        """Disarms, on a person's command or after a lost connection."""
        self._arming.disarm(notice)
        self._line.close()
        self._line.settle()
        self._wants_arming = False

    def close(self) -> None:
        """The run has ended."""
        self._line.close()

    def stood_still(self, why: str) -> None:
        """Disarms after a standstill: the operator may have left, or wear headphones again.

        why: what stopped, without a full stop.
        """
        if self._arming.armed or self._arming.is_waiting:
            self._arming.disarm(f"Disarmed: {why}. Arm it again.")
            self._line.close()

    def begin_pass(self) -> None:
        """A new pass has begun."""
        self._arming.begin_pass(self._line.clock())

    def report_audio(self, *, is_silent: bool) -> None:
        """Audio arrived. is_silent: there is no programme in it, or it is not a number."""
        self._arming.report_audio(self._line.clock(), is_silent=is_silent)
        if self._wants_arming and not self._arming.is_waiting:
            self.arm()

    def forbid_rise(self, why: str) -> None:
        """While *why* is a reason nothing goes up; "" lifts it."""
        self._arming.forbid_rise(self._line.clock(), why)

    def change_by(self, change_db: float, *, is_advised: bool) -> str:
        """Starts a move from the present position; returns why it was refused, or an empty string.

        is_advised: the move is the advised one.
        """
        if self._position_db is None:
            self._arming.notice = (
                "Not armed: no fader position arrives. Turn on OSC feedback in the workstation."
            )
            return self._arming.notice
        return self._ask(self._position_db + change_db, is_advised=is_advised)

    def move_to(self, position_db: float) -> str:
        """Starts a move to that position; returns why it was refused, or an empty string."""
        return self._ask(position_db, is_advised=False)

    def look(self, seconds: float, move: Move, look_s: float = LOOK_S) -> None:
        """Makes the advised move unasked, when it is time, and ends a rise that is no longer advised.

        seconds: programme since the reset. move: what is advised from the present fader position.
        look_s: how long to wait between two moves.
        """
        if self._position_db is None:
            return
        if self._is_advised:
            top_db = self._position_db + max(move.gain_db, 0.0)
            self._arming.cap_rise(top_db, "the advised level is reached.")
        target_db = self._auto_follow.target_db(
            seconds, move, self._position_db, is_armed=self._arming.armed, look_s=look_s
        )
        if target_db is not None:
            self._ask(target_db, is_advised=True)

    def step(self) -> None:
        """Sends the next position on the way, where one is due."""
        now_s = self._line.clock()
        if now_s - self._queried_s >= _QUERY_S:
            self._queried_s = now_s
            self._line.query()
        if now_s - self._stepped_s < _SEND_S:
            return
        self._stepped_s = now_s
        target_db = self._arming.target_db(now_s)
        self._close_unless_armed()
        position_db = self._line.advance(target_db, may_rise=self._arming.may_rise)
        if position_db is not None:
            self._arming.record_sent(now_s, position_db)

    def _ask(self, target_db: float, *, is_advised: bool) -> str:
        decision = self._arming.ask(self._line.clock(), target_db)
        if decision.granted:
            self._is_advised = is_advised
        self._close_unless_armed()
        return "" if decision.granted else decision.sentence

    def _close_unless_armed(self) -> None:
        if not (self._arming.armed or self._arming.is_waiting):
            self._line.close()
