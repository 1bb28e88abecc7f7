"""Leave to move a fader: given by a person, bounded, and withdrawn at the first doubt.

Pure: every call brings its own time, in seconds of real time. There is no target unless a person armed the
fader, the workstation has reported its position since then, audio is flowing, and nothing else moves it. How
fast the fader goes there is for :class:`sidecar.advice.faders.guard.FaderGuard`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sidecar.advice.faders.guard import OLDEST_S, SETTLED_S
from sidecar.advice.faders.sent_path import SentPath
from sidecar.advice.faders.tapers import FaderLimits
from sidecar.model.readings import SILENCE, Limit
from sidecar.model.units import figure

CAUTION = (
    "Caution: the sidecar now moves a fader, upward too: 3 dB a step, 6 dB in a pass, 1 dB a second. "
    "Sudden level can hurt ears and loudspeakers. Turn the monitors down first, take headphones off, and "
    "keep a hand on the fader. A touch disarms at once."
)

AUDIO_TIMEOUT_S = 1.0
FEEDBACK_TIMEOUT_S = 1.0
"""Longest silence while the fader owes an answer."""

ARM_TIMEOUT_S = 30.0
"""Ours: a touch arms within this time after the request; a later one has another purpose."""

SILENCE_TIMEOUT_S = 1.0
"""A rise waits through the pauses between words; after a longer silence it is over."""

SETTLE_S = 3.0
"""Rest after a step up: one short-term window (Tech 3341 §2.2), so that its effect is seen first."""

RENEW_S = 60.0
"""Ours: a shorter pass does not renew what may be raised in all, so that resets gain nothing."""

HAND_DB = 0.5
"""Further than this from the way that the fader was sent, something else moves it. Less is rounding."""

REST_DB = 0.05
"""A fader at rest that reports another position than before was moved by something else. Less is the same
position, rounded to tenths of a dB."""

VANISHED_S = 5.0
"""Longest silence of an armed fader. One that reports only changes must be asked (``query_address``)."""

_OWED_DB = 0.5
"""A fader this far from its last answer owes one: a coarse surface may swallow less."""

_LOST = "Disarmed: the fader position no longer arrives, or the fader does not follow."
_TOUCH = "touch the fader once. The next position that arrives arms it."


@dataclass(frozen=True, slots=True)
class ArmingDecision:
    """What becomes of a request."""

    granted: bool
    sentence: str = ""
    """Why not, why not all of it, or the caution; empty when there is nothing to say."""
    target_db: float = SILENCE
    """Where the fader will go, when granted."""
    limited_by: Limit | None = None


class Arming:
    """Decides whether and how far one fader may be moved.

    What was raised and the rest after a rise belong to the pass, whether armed or not.
    """

    def __init__(self, limits: FaderLimits | None = None) -> None:
        self.limits = limits or FaderLimits()
        self.armed = False
        self.notice = ""
        """What was said last: the caution, why a move was cut or refused, why it was disarmed."""
        self._asked_s: float | None = None
        self._no_rise = ""
        self._audio_s = SILENCE
        self._silent_from_s: float | None = None
        self._path = SentPath(0.0, HAND_DB)
        self._owed_since_s: float | None = None
        self._reported_s = SILENCE
        self._advanced_s = SILENCE
        self._position_db = self._target_db = 0.0
        self._rest_db: float | None = None
        """Where the fader came to rest; None while it moves, or while the hand that armed it may be on it."""
        self._sent_s = SILENCE
        self._began_s = SILENCE
        self._pass_began_s = SILENCE
        self._risen_db = self._step_risen_db = 0.0
        self._rest_until_s = SILENCE

    @property
    def is_waiting(self) -> bool:
        """True where arming was requested and the workstation has reported no fader position since."""
        return self._asked_s is not None

    @property
    def is_rising(self) -> bool:
        """True while the fader is on its way up."""
        return self.armed and self._target_db > self._position_db

    # --- leave ----------------------------------------------------------------------------------

    def arm(self, now_s: float) -> ArmingDecision:
        """Requests arming, granted with the next report of the fader. The sentence has the caution."""
        return self._said(self._arm(now_s))

    def _arm(self, now_s: float) -> ArmingDecision:
        if self.armed:
            return ArmingDecision(True, "Armed already.", self._target_db)
        if self._audio_is_lost(now_s):
            return ArmingDecision(False, "Not armed: no audio arrives. Start playback, then arm again.")
        self._asked_s = now_s
        return ArmingDecision(False, f"Not armed yet: {_TOUCH} {CAUTION}")

    def disarm(self, notice: str = "Disarmed by you.") -> None:
        """Disarms, and cancels a request to arm; *notice* says why. The position is forgotten."""
        self.armed, self.notice = False, notice
        self._asked_s = None

    def begin_pass(self, now_s: float) -> None:
        """A new pass: a rise that was meant for the one before ends, and the total begins anew unless that
        was shorter than RENEW_S. The rest after a rise goes on."""
        self.stop_rise("a new pass began.")
        if now_s - self._pass_began_s >= RENEW_S:
            self._pass_began_s, self._risen_db = now_s, 0.0

    # --- what is known --------------------------------------------------------------------------

    def report_audio(self, now_s: float, *, is_silent: bool) -> None:
        """Audio arrived; what comes after too long a gap finds nothing armed.

        is_silent: there is no programme in it, or it is not a number.
        """
        self._still_armed(now_s)
        self._audio_s = now_s
        if not is_silent:
            self._silent_from_s = None
        elif self._silent_from_s is None:
            self._silent_from_s = now_s
        elif now_s - self._silent_from_s > SILENCE_TIMEOUT_S:
            self.stop_rise("the programme is silent, or its samples are no numbers.")

    def report_fader(self, now_s: float, position_db: float, received_s: float | None = None) -> None:
        """The workstation reported its fader position, dB. One that was moved by anything else disarms.

        received_s: when the report arrived, where that was before *now_s*.
        """
        arrived_s = now_s if received_s is None else received_s
        if math.isnan(position_db):
            return
        if self.armed:
            self._reported_s = max(self._reported_s, arrived_s)
            self._follow(now_s, position_db)
        elif self._is_answer(arrived_s) and self._still_asked(now_s):
            self._begin(now_s, position_db)
            self._reported_s = arrived_s

    def report_touch(self) -> None:
        """A hand is on the fader: disarms. While arming is only requested, the touch is the one asked for."""
        if self.armed:
            self.disarm("Disarmed: the fader was touched.")

    def forbid_rise(self, now_s: float, why: str) -> None:
        """While *why* is a reason, nothing goes up and what is going up stops; "" lifts it."""
        if why and not self._no_rise:
            self._rest_until_s = max(self._rest_until_s, now_s + SETTLE_S)
        self._no_rise = why
        if why:
            self.stop_rise(why)

    def stop_rise(self, why: str) -> None:
        """Leaves the fader where it is if it is on its way up."""
        self.cap_rise(SILENCE, why)

    def cap_rise(self, top_db: float, why: str) -> None:
        """Lets a rise end at *top_db*, or here where the fader has passed that."""
        if not self.is_rising or top_db >= self._target_db:
            return
        self._target_db = max(self._position_db, top_db)
        if self._target_db == self._position_db:
            self.notice = f"Stopped at {figure(self._position_db)} dB: {why}"

    # --- moves ----------------------------------------------------------------------------------

    def ask(self, now_s: float, target_db: float) -> ArmingDecision:
        """Starts a move of the fader to *target_db*; upward in bounded steps with a rest between them."""
        return self._said(self._ask(now_s, target_db))

    def _ask(self, now_s: float, target_db: float) -> ArmingDecision:
        if not math.isfinite(target_db):
            return ArmingDecision(False, f"Refused: {target_db} dB is no fader level. Give a number of dB.")
        if not self._still_armed(now_s):
            return ArmingDecision(False, self.notice or "Refused: the fader is not armed. Arm it first.")
        if now_s - self._reported_s > OLDEST_S:
            return ArmingDecision(False, f"Refused: {_unheard(now_s - self._reported_s)}")
        self._advanced_s = now_s
        if target_db <= self._position_db:
            return self._lower(target_db)
        return self._raise(now_s, target_db)

    def target_db(self, now_s: float) -> float | None:
        """Where the fader is to go now, dB; None where it is to be left alone."""
        if not self._still_armed(now_s) or self._target_db == self._position_db:
            return None
        if now_s - self._reported_s > OLDEST_S:
            self.disarm(_LOST)
            return None
        if self.is_rising and self._is_silent:
            self._advanced_s = now_s
            return None
        if now_s - self._advanced_s > OLDEST_S:
            self.disarm("Disarmed: the fader does not follow. A hand or its automation holds it.")
            return None
        return self._target_db

    @property
    def may_rise(self) -> bool:
        """False while nothing may be sent that could raise the fader."""
        return not self._no_rise and not self._is_silent

    def record_sent(self, now_s: float, position_db: float) -> None:
        """The fader was sent to *position_db*, on its way to the target."""
        change_db = position_db - self._position_db
        if change_db > 0.0:
            if now_s >= self._rest_until_s:
                self._step_risen_db = 0.0
            self._rest_until_s = now_s + SETTLE_S
        self._risen_db = max(0.0, self._risen_db + change_db)
        self._step_risen_db = max(0.0, self._step_risen_db + change_db)
        self._position_db, self._sent_s = position_db, now_s
        self._path.append(position_db)
        self._note_owed(now_s)

    # --- inside ---------------------------------------------------------------------------------

    @property
    def _is_silent(self) -> bool:
        return self._silent_from_s is not None

    def _is_answer(self, arrived_s: float) -> bool:
        """Whether a report came after the request, and no longer speaks of a move from before it."""
        return (
            self._asked_s is not None and arrived_s >= self._asked_s and arrived_s - self._sent_s > SETTLED_S
        )

    def _begin(self, now_s: float, position_db: float) -> None:
        self.armed, self._asked_s = True, None
        self._began_s, self._rest_db = now_s, None
        if self._pass_began_s == SILENCE:
            self._pass_began_s = now_s
        self._position_db = self._target_db = position_db
        self._owed_since_s = None
        self._path = SentPath(position_db, HAND_DB)
        self.notice = f"Armed at {figure(position_db)} dB. {CAUTION}"

    def _follow(self, now_s: float, position_db: float) -> None:
        known_db = self._path.known_db
        if not self._path.follow(position_db) or self._is_moved_at_rest(now_s, position_db):
            self.disarm(
                f"Disarmed: the fader is at {figure(position_db)} dB, where the sidecar did not send it. A "
                "hand or its automation moved it."
            )
            return
        if self._path.known_db != known_db:
            self._owed_since_s, self._advanced_s = None, now_s
        self._note_owed(now_s)
        if now_s - self._sent_s > SETTLED_S and self._target_db == self._position_db:
            self._position_db = self._target_db = position_db  # as the surface rounds it

    def _is_moved_at_rest(self, now_s: float, position_db: float) -> bool:
        """Whether something else has moved a fader that had come to rest.

        One that is slower than its ramp may still come nearer to where it was sent.
        """
        if self._target_db != self._position_db or now_s - max(self._sent_s, self._began_s) <= SETTLED_S:
            self._rest_db = None
            return False
        rest_db, self._rest_db = self._rest_db, position_db
        if rest_db is None or position_db == rest_db or abs(position_db - rest_db) <= REST_DB:
            return False
        end_db = self._path.end_db
        return not abs(position_db - end_db) < abs(rest_db - end_db)

    def _note_owed(self, now_s: float) -> None:
        owes = abs(self._position_db - self._path.known_db) > _OWED_DB
        if not owes:
            self._owed_since_s = None
        elif self._owed_since_s is None:
            self._owed_since_s = now_s

    def _lower(self, target_db: float) -> ArmingDecision:
        lowest_db = min(self.limits.lowest_db, self._position_db)
        self._target_db = max(target_db, lowest_db)
        if self._target_db == target_db:
            return ArmingDecision(True, "", target_db)
        return ArmingDecision(
            True, f"Kept at {figure(lowest_db)} dB: the fader's range ends there.", self._target_db, "range"
        )

    def _raise(self, now_s: float, target_db: float) -> ArmingDecision:
        if self._position_db < self.limits.lowest_db:
            return ArmingDecision(
                False, "Refused: the fader is closed. Open it yourself first.", limited_by="range"
            )
        if self._no_rise:
            return ArmingDecision(False, f"Refused: {self._no_rise}")
        if self._is_silent:
            return ArmingDecision(
                False,
                "Refused: the programme is silent, so a rise has no effect to hear. Start playback first.",
            )
        top_db, limit, why = self._top(now_s)
        if top_db <= self._position_db:
            return ArmingDecision(False, f"Refused: {why}", limited_by=limit)
        self._target_db = min(target_db, top_db)
        if self._target_db == target_db:
            return ArmingDecision(True, "", target_db)
        return ArmingDecision(True, f"Only to {figure(self._target_db)} dB: {why}", self._target_db, limit)

    def _top(self, now_s: float) -> tuple[float, Limit, str]:
        """How high the fader may go now, what kind of limit that is, and the sentence for it."""
        limits = self.limits
        step_left_db = limits.step_up_db
        step_text = f"one step up is {figure(limits.step_up_db)} dB at most."
        if now_s < self._rest_until_s:
            step_left_db -= self._step_risen_db
            rest_s = math.ceil(self._rest_until_s - now_s)
            step_text = f"the last step up needs {rest_s} s more to take effect."
        total_text = (
            f"the sidecar raises the fader {figure(limits.total_up_db)} dB in one pass at most. Raise it "
            "yourself, or reset."
        )
        range_text = f"the fader's range ends at {figure(limits.highest_db)} dB."
        tops: list[tuple[float, Limit, str]] = [
            (self._position_db + step_left_db, "step", step_text),
            (self._position_db + limits.total_up_db - self._risen_db, "range", total_text),
            (limits.highest_db, "range", range_text),
        ]
        return min(tops, key=lambda top: top[0])

    def _still_armed(self, now_s: float) -> bool:
        self._still_asked(now_s)
        if not self.armed:
            return False
        if self._audio_is_lost(now_s):
            self.disarm("Disarmed: no audio arrives.")
        elif self._owed_since_s is not None and now_s - self._owed_since_s > FEEDBACK_TIMEOUT_S:
            self.disarm(_LOST)
        elif now_s - self._reported_s > VANISHED_S:
            self.disarm(f"Disarmed: {_unheard(now_s - self._reported_s)}")
        return self.armed

    def _still_asked(self, now_s: float) -> bool:
        if self._asked_s is None:
            return False
        if self._audio_is_lost(now_s):
            self.disarm("Not armed: no audio arrives. Start playback, then arm again.")
        elif now_s - self._asked_s > ARM_TIMEOUT_S:
            self.disarm(
                "Not armed: no fader position arrives. Turn on OSC feedback in the workstation, arm again, "
                "and touch the fader."
            )
        return self._asked_s is not None

    def _audio_is_lost(self, now_s: float) -> bool:
        return now_s - self._audio_s > AUDIO_TIMEOUT_S

    def _said(self, verdict: ArmingDecision) -> ArmingDecision:
        self.notice = verdict.sentence
        return verdict


def _unheard(seconds: float) -> str:
    return (
        f"no fader position for {seconds:.0f} s. Let the workstation repeat it every second, or give "
        "query_address in the surface file."
    )
