"""The steady adviser: what is shown and sent of a forecast that never holds still.

Pure: time is the programme's. The forecast is held against what is shown, and replaces it only at a look,
when a person moved the fader, or at once where waiting would break a limit; and only where the difference is
more than its own doubt excuses. Positions of the fader are compared, not changes: a move that is made is one
move.
"""

from __future__ import annotations

import math
from dataclasses import replace

from sidecar.advice.programme.outlook import Outlook
from sidecar.advice.programme.reasons import reason_for
from sidecar.loudness.limits import is_over, is_under
from sidecar.model.advice import Advice, State
from sidecar.model.readings import Move
from sidecar.settings.goals import Goal

FIRST_LOOK_S = 10.0
"""Programme before the first look at a pass of which no earlier one is known. All figures here are ours."""

SHORTEST_LOOK_S, LONGEST_LOOK_S = 5.0, 30.0

REST_S = 15.0
"""Programme between two changes of the shown move, unless a limit or a person's hand asks for one sooner."""

_SMALLEST_DB, _SMALLEST_LATE_DB = 0.5, 0.3
"""A shown move is replaced by one that differs by more; the second toward the end."""

_LATE_S = 60.0

_COARSE_FROM_DB, _COARSE_DB, _FINE_DB = 2.0, 0.5, 0.1
"""Moves above the first are asked for in steps of the second, smaller ones in steps of the third."""

_THERE_DB = 0.25
"""A fader this near to where it was to go has arrived."""

_MOVED_DB = 0.05

_PEAK_NEWS_DB = 0.5
"""A peak higher by more than this than the one that last changed the move at once may do so again."""

_HYSTERESIS_LU = 0.1
"""How far outside the tolerance a landing that was inside it still counts as on goal."""

_ON_GOAL_DOUBT_DB = 1.5
"""A landing inside the tolerance counts as on goal once the gain of a whole pass is in no more doubt: before
that, the next look is likely to take it back."""

_TREND_DB, _LEVEL_DB = 0.7, 0.3
"""A trend is shown from the first difference on, and not below the second any more."""


class SteadyAdviser:
    """Decides what is shown of the forecasts of one pass."""

    def __init__(self, goal: Goal) -> None:
        self.goal = goal
        self.advice = Advice(move=Move(reason="Listening."))
        self._target_db = 0.0
        """Where the shown move takes the fader."""
        self._fader_db = 0.0
        self._looked_s = self._changed_s = -math.inf
        self._room_at_db = math.inf
        """Where the fader had to be for the highest peak to meet the ceiling, when that last changed the move
        at once."""

    def look_soon(self) -> None:
        """Makes the next update a look, due or not, which may change all that is shown."""
        self._looked_s = self._changed_s = -math.inf
        self.advice = replace(self.advice, next_look_at_s=None)

    def mix_moved_by(self, change_db: float) -> None:
        """Takes off the shown move what stem faders did of it: how much they changed the mix."""
        left_db = self._target_db - self._fader_db - change_db
        self._target_db = self._fader_db + (0.0 if abs(left_db) <= _THERE_DB else left_db)
        self.look_soon()

    def is_due(self, seconds: float, fader_db: float) -> bool:
        """Whether a look is due, or the fader was moved."""
        return self._is_look(seconds) or self._was_moved(fader_db)

    def update(
        self, seconds: float, fader_db: float, outlook: Outlook | None, rest_s: float, look_s: float
    ) -> Advice:
        """Returns the advice to show.

        seconds: programme so far. fader_db: where the fader is. outlook: the forecast from there, None while
        too little was measured. rest_s: programme still to come, ``inf`` where it is not known. look_s: until
        the next look.
        """
        if outlook is None or (seconds < FIRST_LOOK_S and not outlook.is_known):
            self._fader_db = fader_db
            return self.advice
        was_moved, is_first = self._was_moved(fader_db), self.advice.state == "listening"
        came_from_db, self._fader_db = self._fader_db, fader_db
        if was_moved and not is_first:
            self._follow_hand(seconds, came_from_db, outlook, rest_s)
        elif self._breaks_a_limit(outlook):
            self._room_at_db = fader_db + outlook.headroom_db
            self._adopt(seconds, outlook.move.gain_db, rest_s)
        elif self._is_look(seconds):
            self._look(seconds, outlook, rest_s)
        else:
            self._renew_trend(outlook)
            return self.advice
        next_s = min(max(min(look_s, seconds / 2.0), SHORTEST_LOOK_S), LONGEST_LOOK_S)
        self._looked_s, asked_nothing = seconds, self.advice.state in ("listening", "hold")
        self._show(outlook, min(seconds + next_s, seconds + rest_s))
        if asked_nothing and self.advice.state == "on_goal" and rest_s > _LATE_S:
            self._look_after_rest(seconds, rest_s)
        return self.advice

    def _look_after_rest(self, seconds: float, rest_s: float) -> None:
        """Puts off the next look at a pass that has come on goal, so that none takes that back at once. Near
        the end each look is needed for the last corrections, and the landing is known too well to turn."""
        look_at_s = max(self.advice.next_look_at_s or 0.0, seconds + REST_S + SHORTEST_LOOK_S)
        self.advice = replace(self.advice, next_look_at_s=min(look_at_s, seconds + rest_s))

    # --- when -----------------------------------------------------------------------------------

    def _is_look(self, seconds: float) -> bool:
        look_at_s = self.advice.next_look_at_s
        return look_at_s is None or seconds >= look_at_s - 1e-6

    def _was_moved(self, fader_db: float) -> bool:
        return fader_db != self._fader_db and not abs(fader_db - self._fader_db) < _MOVED_DB

    def _breaks_a_limit(self, outlook: Outlook) -> bool:
        """Whether to wait for the next look would leave peaks over the ceiling.

        A peak that was heard stays. So a rise that it forbids is withdrawn for good, and a fall that it asks
        for is asked for at once only the first time: after that it waits for its look, as any other move.
        """
        shown_db, room_at_db = self._target_db - self._fader_db, self._fader_db + outlook.headroom_db
        asks_less = outlook.move.limited_by == "ceiling" and outlook.move.gain_db < shown_db - _THERE_DB
        is_news = shown_db > 0.0 or room_at_db < self._room_at_db - _PEAK_NEWS_DB
        return asks_less and is_news and self.advice.state != "listening"

    # --- what -----------------------------------------------------------------------------------

    def _follow_hand(self, seconds: float, came_from_db: float, outlook: Outlook, rest_s: float) -> None:
        """The fader was moved: it arrived, is on its way, or went elsewhere."""
        left_db, before_db = self._target_db - self._fader_db, self._target_db - came_from_db
        if abs(left_db) <= _THERE_DB:
            self._target_db, self._changed_s = self._fader_db, seconds
        elif not (0.0 < left_db / before_db < 1.0 if before_db else False):
            self._adopt(seconds, outlook.move.gain_db, rest_s)

    def _look(self, seconds: float, outlook: Outlook, rest_s: float) -> None:
        wanted_db, shown_db = outlook.move.gain_db, self._target_db - self._fader_db
        is_first = self.advice.state == "listening"
        is_resting = seconds - self._changed_s <= REST_S
        is_bound_to_wait = is_resting or not self._is_worth(outlook, wanted_db, shown_db, rest_s)
        if is_bound_to_wait and not is_first:
            return
        if is_first:
            self._target_db = self._fader_db
        self._adopt(seconds, wanted_db, rest_s)

    def _is_worth(self, outlook: Outlook, wanted_db: float, shown_db: float, rest_s: float) -> bool:
        """Whether the difference is more than its own doubt excuses."""
        smallest_db = _SMALLEST_LATE_DB if rest_s < _LATE_S else _SMALLEST_DB
        is_further = abs(wanted_db) > abs(shown_db) and wanted_db * shown_db >= 0.0
        excuse_db = smallest_db if is_further and shown_db == 0.0 else max(smallest_db, outlook.doubt_db)
        return abs(wanted_db - shown_db) >= excuse_db - 1e-9

    def _adopt(self, seconds: float, wanted_db: float, rest_s: float) -> None:
        target_db = self._fader_db + stepped(wanted_db, is_late=rest_s < _LATE_S)
        if target_db != self._target_db:
            self._changed_s = seconds
        self._target_db = target_db

    # --- how it is said -------------------------------------------------------------------------

    def _show(self, outlook: Outlook, next_look_at_s: float) -> None:
        gain_db = round(self._target_db - self._fader_db, 1) + 0.0
        if not math.isfinite(gain_db):
            gain_db = 0.0
        move = outlook.at(gain_db)
        wanted = outlook.move
        held_by_peaks = wanted.limited_by == "ceiling" and gain_db >= wanted.gain_db - _THERE_DB
        move = replace(move, limited_by="ceiling" if held_by_peaks else None)
        passes = self._passes(move.landing)
        state = self._state(move, outlook.doubt_db)
        was_past_bound = self.advice.restart_fader_db is not None
        misses = not passes and not held_by_peaks and state != "on_goal"
        past_bound = misses and (outlook.is_out_of_reach or was_past_bound)
        restart_db = round(self._fader_db + outlook.from_top.gain_db, 1) if past_bound else None
        self.advice = Advice(
            state=state,
            move=move,
            from_top=outlook.from_top,
            lands_this_pass=outlook.lands_this_pass,
            next_look_at_s=next_look_at_s,
            more_to_come=state == "move" and not passes and restart_db is None and not held_by_peaks,
            restart_fader_db=restart_db,
            range_widened_lu=self.advice.range_widened_lu,
        )
        self.advice = replace(
            self.advice, move=replace(move, reason=reason_for(self.advice, outlook, self.goal))
        )

    def _state(self, move: Move, doubt_db: float) -> State:
        if move.gain_db != 0.0:
            return "move"
        if not math.isfinite(move.landing):
            return "listening"
        was_on_goal = self.advice.state == "on_goal"
        if not was_on_goal and doubt_db > _ON_GOAL_DOUBT_DB:
            return "hold"
        margin_lu = _HYSTERESIS_LU if was_on_goal else 0.0
        is_inside = self._passes(move.landing, margin_lu)
        return "on_goal" if is_inside and move.limited_by is None else "hold"

    def _passes(self, landing: float, margin_lu: float = 0.0) -> bool:
        goal = self.goal
        is_low = is_under(landing + margin_lu, goal.lowest_lufs)
        return not (is_low or is_over(landing - margin_lu, goal.highest_lufs))

    def _renew_trend(self, outlook: Outlook) -> None:
        """The arrow: where the next look heads. It is the one thing that may change between looks."""
        heads_db = outlook.move.gain_db - (self._target_db - self._fader_db)
        trend = self.advice.trend
        if abs(heads_db) >= _TREND_DB:
            trend = 1 if heads_db > 0.0 else -1
        elif abs(heads_db) < _LEVEL_DB or heads_db * trend < 0.0:
            trend = 0
        if trend != self.advice.trend:
            self.advice = replace(self.advice, trend=trend)


def stepped(gain_db: float, *, is_late: bool) -> float:
    """*gain_db* in steps that a hand can set: coarse while it is large and much is still to come."""
    step_db = _COARSE_DB if abs(gain_db) > _COARSE_FROM_DB and not is_late else _FINE_DB
    return round(round(gain_db / step_db) * step_db, 1)
