"""Leave to move a fader: given by a person, bounded, and withdrawn at the first doubt.

Pure: every call brings its own time. Nothing leaves :meth:`Arming.next_position` unless a person armed it,
audio is flowing, the fader answers, and no hand has taken it over.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from sidecar.advice.faders.tapers import FaderLimits, Ramp
from sidecar.model.readings import SILENCE, Limit, figure

CAUTION = (
    "Caution: the sidecar will now move a fader, upward too. Sudden level can hurt ears and loudspeakers: "
    "turn the monitors down first, take headphones off, and keep a hand on the fader. "
    "Touching it takes it back at once."
)

AUDIO_TIMEOUT_S = 1.0
FEEDBACK_TIMEOUT_S = 1.0
"""Longest silence while the fader owes an answer. Surfaces that only report changes are quiet at rest."""

SETTLE_S = 3.0
"""Rest after each step up: one short-term window (Tech 3341 §2.2), so that its effect is seen first."""

HAND_DB = 1.0
"""Further than this from all that was sent, the fader was moved by somebody else."""

_OWED_DB = 0.5
"""A fader this far from its last answer owes one: a coarse surface may swallow less."""


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
    """Decides whether, how far and how fast one fader may be moved."""

    def __init__(self, limits: FaderLimits | None = None) -> None:
        self.limits = limits or FaderLimits()
        self.armed = False
        self.notice = ""
        """What was said last: the caution, why a move was cut or refused, why it was disarmed."""
        self._cautioned = False
        self._audio_s = SILENCE
        self._feedback_db: float | None = None
        self._owed_since_s: float | None = None
        self._start_db = 0.0
        self._target_db = 0.0
        self._step_top_db = SILENCE
        self._rest_until_s = SILENCE
        self._ramp = Ramp(0.0, 0.0)
        self._sent: deque[tuple[float, float]] = deque()

    def arm(self, now_s: float) -> ArmingDecision:
        """Gives leave. The first time the sentence is the caution, which must be shown."""
        return self._said(self._arm(now_s))

    def _arm(self, now_s: float) -> ArmingDecision:
        if self._feedback_db is None:
            return ArmingDecision(
                False, "Not armed: the fader has never said where it stands; switch its feedback on."
            )
        if self._audio_is_lost(now_s):
            return ArmingDecision(
                False, "Not armed: no audio is arriving, so the effect of a move could not be seen."
            )
        if self.armed:
            return ArmingDecision(True, "Armed already.", self._target_db)
        self.armed = True
        self._start_db = self._target_db = self._feedback_db
        self._step_top_db = self._rest_until_s = SILENCE
        self._owed_since_s = None
        self._ramp = Ramp(self._feedback_db, now_s)
        self._sent = deque([(now_s, self._feedback_db)])
        caution = "" if self._cautioned else CAUTION
        self._cautioned = True
        return ArmingDecision(True, caution, self._target_db)

    def disarm(self, notice: str = "Disarmed by hand.") -> None:
        """Withdraws leave; *notice* says why."""
        self.armed, self.notice = False, notice

    def audio(self, now_s: float) -> None:
        """Audio arrived; what comes after too long a silence finds nothing armed."""
        self._still_armed(now_s)
        self._audio_s = now_s

    def feedback(self, now_s: float, position_db: float) -> None:
        """The fader said where it stands, dB. A position that nobody here sent disarms."""
        if math.isnan(position_db):
            return
        is_taken = self.armed and not (
            self._is_on_its_way(position_db) or self._was_sent_lately(now_s, position_db)
        )
        self._feedback_db = position_db
        self._owed_since_s = None
        if is_taken:
            self.disarm(
                f"Disarmed: the fader stands at {figure(position_db)} dB, where the sidecar did not send it; "
                "a hand or its automation has it."
            )

    def ask(self, now_s: float, target_db: float) -> ArmingDecision:
        """Asks for the fader to go to *target_db*; upward in bounded steps with a rest between them."""
        return self._said(self._ask(now_s, target_db))

    def _ask(self, now_s: float, target_db: float) -> ArmingDecision:
        if not math.isfinite(target_db):
            return ArmingDecision(
                False, f"Refused: {target_db} dB is not a level that a fader can be sent to."
            )
        if not self._still_armed(now_s):
            return ArmingDecision(False, self.notice or "Refused: the fader is not armed; arm it first.")
        if target_db <= self._ramp.position_db:
            return self._lower(target_db)
        return self._raise(now_s, target_db)

    def next_position(self, now_s: float) -> float | None:
        """The position to send now, dB; None when nothing may or need be sent."""
        if not self._still_armed(now_s) or self._ramp.position_db == self._target_db:
            return None
        self._ramp = self._ramp.towards(self._target_db, now_s)
        position_db = self._ramp.position_db
        self._sent.append((now_s, position_db))
        if self._owed_since_s is None and self._feedback_db is not None:
            owes = abs(position_db - self._feedback_db) > _OWED_DB
            self._owed_since_s = now_s if owes else None
        return position_db

    def _lower(self, target_db: float) -> ArmingDecision:
        lowest_db = min(self.limits.lowest_db, self._ramp.position_db)
        self._target_db = max(target_db, lowest_db)
        if self._target_db == target_db:
            return ArmingDecision(True, "", target_db)
        return ArmingDecision(
            True, f"Held at {figure(lowest_db)} dB: the fader's range ends there.", self._target_db, "range"
        )

    def _raise(self, now_s: float, target_db: float) -> ArmingDecision:
        position_db = self._ramp.position_db
        if position_db < self.limits.lowest_db:
            return ArmingDecision(
                False, "Refused: the fader is closed; open it by hand first.", limited_by="range"
            )
        top_db, limit, why = self._top(now_s)
        if top_db <= position_db:
            return ArmingDecision(False, f"Refused: {why}", limited_by=limit)
        self._target_db = min(target_db, top_db)
        if now_s >= self._rest_until_s:
            self._step_top_db = self._target_db
            rise_s = (self._target_db - position_db) / self._ramp.up_db_per_s
            self._rest_until_s = now_s + rise_s + SETTLE_S
        if self._target_db == target_db:
            return ArmingDecision(True, "", target_db)
        return ArmingDecision(True, f"Only to {figure(self._target_db)} dB: {why}", self._target_db, limit)

    def _top(self, now_s: float) -> tuple[float, Limit, str]:
        """How high the fader may go now, what kind of limit that is, and the sentence for it."""
        limits = self.limits
        step_db = self._ramp.position_db + limits.step_up_db
        step_text = f"one step raises by {figure(limits.step_up_db)} dB at most."
        if now_s < self._rest_until_s:
            step_db = self._step_top_db
            step_text = f"the last step up needs {self._rest_until_s - now_s:.0f} s more to show its effect."
        total_text = (
            f"since it was armed the fader may rise by {figure(limits.total_up_db)} dB in all; arm it again."
        )
        range_text = f"the fader's range ends at {figure(limits.highest_db)} dB."
        tops: list[tuple[float, Limit, str]] = [
            (step_db, "step", step_text),
            (self._start_db + limits.total_up_db, "range", total_text),
            (limits.highest_db, "range", range_text),
        ]
        return min(tops, key=lambda top: top[0])

    def _still_armed(self, now_s: float) -> bool:
        if not self.armed:
            return False
        if self._audio_is_lost(now_s):
            self.disarm("Disarmed: no audio is arriving.")
        elif self._owed_since_s is not None and now_s - self._owed_since_s > FEEDBACK_TIMEOUT_S:
            self.disarm("Disarmed: the fader no longer says where it stands.")
        return self.armed

    def _audio_is_lost(self, now_s: float) -> bool:
        return now_s - self._audio_s > AUDIO_TIMEOUT_S

    def _is_on_its_way(self, position_db: float) -> bool:
        """True where the fader has come nearer to where it was sent: some take longer than the ramp."""
        if self._feedback_db is None or position_db == self._feedback_db:
            return False
        low_db, high_db = sorted((self._feedback_db, self._ramp.position_db))
        return low_db <= position_db <= high_db

    def _was_sent_lately(self, now_s: float, position_db: float) -> bool:
        """True where the fader may be on its way through what was sent lately; answers come late."""
        while len(self._sent) > 1 and self._sent[1][0] < now_s - FEEDBACK_TIMEOUT_S:
            self._sent.popleft()
        sent = [level_db for _, level_db in self._sent]
        return min(sent) - HAND_DB <= position_db <= max(sent) + HAND_DB

    def _said(self, verdict: ArmingDecision) -> ArmingDecision:
        self.notice = verdict.sentence
        return verdict
