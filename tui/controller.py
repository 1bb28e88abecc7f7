"""State of the screen and commands to the run, as changed by keys and clicks."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal, TypeVar

from sidecar.model.commands import Command, Nudge, SelectGoal
from sidecar.model.headline import chosen
from sidecar.model.snapshot import Feed, Snapshot
from sidecar.settings.taste import AT_FIRST, Ground, Taste
from tui import texts
from tui.cursor import Cursor
from tui.drawing.columns import programme_s
from tui.drawing.panels.overs import places_s
from tui.drawing.panels.sides import sides_of
from tui.drawing.view import USUAL_KEYS, KeyNames, View
from tui.drawing.wording import Sides

ZOOMS_S = (30.0, 60.0, 120.0, 300.0, 900.0, 3600.0, 0.0)
"""Stretches of programme the history can show; 0 is the whole."""

REACHES_LU = (18.0, 36.0)
"""The two scales that EBU Tech 3341 §2.7 lets a person choose between, by their lower ends."""

GROUNDS: tuple[Ground, ...] = ("auto", "dark", "light")
"""In the order in which a key goes through them."""
Choice = TypeVar("Choice")

RunKind = Literal["live", "rehearsal", "attached", "past"]
"""A measurement that ends with the screen, a rehearsal, a run elsewhere, a pass that is over."""

_ANSWER_S = 5.0
"""For which an answer to a key is shown."""
_NEWS_LOOKS = 200
"""Refreshes for which a new sentence about arming is shown in full: 20 s, for some forty words."""


def transport_verb(snapshot: Snapshot) -> str:
    """Returns the verb of the space bar. A run that lost its audio goes on, so it can be paused."""
    if snapshot.transport == "paused":
        return "continue"
    had_audio = snapshot.transport == "waiting" and snapshot.reading.seconds > 0.0
    return "pause" if snapshot.transport == "measuring" or had_audio else "start"


def offers(snapshot: Snapshot) -> frozenset[str]:
    """Returns the optional keys that do something now.

    Following is offered only for a master fader that the sidecar may move, so that no move seems made that
    cannot be made.
    """
    arm, is_reached = snapshot.arm, snapshot.moves_fader
    offered = {
        "acknowledge": bool(snapshot.script_fault) or any(alert.state != "off" for alert in snapshot.alerts),
        "follow": is_reached and not chosen(snapshot).stem,
        "arm": arm is not None and not (arm.is_armed or arm.is_waiting),
        "disarm": arm is not None and arm.is_armed,
        "cancel": arm is not None and arm.is_waiting,
        "next_pass": snapshot.is_pass_over,
        "move_fader": is_reached,
        "log_fader": arm is None and not snapshot.controls_fader,
        "balance": bool(snapshot.stems),
        "passes": bool(snapshot.passes),
        "rides": bool(snapshot.rides or snapshot.rides_reason),
    }
    return frozenset({transport_verb(snapshot), *(name for name, does in offered.items() if does)})


def _goes_on(before: Snapshot, now: Snapshot) -> bool:
    """Whether the colours of *before* have a say in those of *now*: not for another goal, after a reset, and
    in the verdict."""
    is_longer = now.reading.seconds >= before.reading.seconds
    return before.goal == now.goal and is_longer and now.transport != "ended"


class Controller:
    """Holds the feed, the view settings and the cursor, and sends commands."""

    def __init__(
        self,
        feed: Feed,
        *,
        half_blocks: bool = True,
        kind: RunKind = "live",
        taste: Taste = AT_FIRST,
        keys: KeyNames = USUAL_KEYS,
    ) -> None:
        self.feed = feed
        self.kind = kind
        self.keys = keys
        self.taste = _usable(taste)
        """How the screen is set; keys change it."""
        self.refusal = ""
        """Why the last command was refused; empty where it was carried out."""
        self._answer, self._answered_s = "", 0.0
        self.clock: Callable[[], float] = time.monotonic
        self.cursor = Cursor()
        self.time_of_day: Callable[[], str] = lambda: time.strftime("%H:%M:%S")
        self._half_blocks = half_blocks
        self._before: tuple[Snapshot, Sides] | None = None
        self._sentence = ""
        self._news_left = 0

    def read_view(self) -> View:
        """Returns the run as it is now."""
        snapshot, history = self.feed.snapshot(), self.feed.timeline()
        self.cursor.programme_reached(float(history.seconds[-1]) if len(history.seconds) else 0.0)
        return View(
            snapshot=snapshot,
            history=history,
            cursor_s=self.cursor.at_s,
            relative=self.taste.unit == "LU",
            reach_lu=self.taste.reach_lu,
            time_of_day=self.time_of_day(),
            zoom_s=self.taste.zoom_s or None,
            answer=self._answer if self.clock() - self._answered_s < _ANSWER_S else "",
            fault=self.refusal,
            arm_is_news=self._arm_is_news(snapshot),
            before=self._coloured(snapshot),
            half_blocks=self._half_blocks,
            keys=self.keys,
            plays_again=self.kind == "rehearsal",
        )

    def _coloured(self, snapshot: Snapshot) -> Sides:
        """Returns how the measures are coloured, to be given to the panels as what they were before."""
        before = Sides()
        if self._before is not None and _goes_on(self._before[0], snapshot):
            before = self._before[1]
        now = sides_of(snapshot, before)
        self._before = snapshot, now
        return now

    def send_command(self, command: Command) -> None:
        """Sends a command; any error is kept as the refusal to show, so that the screen stays."""
        try:
            self.feed.send_command(command)
        except Exception as error:
            self.refusal = str(error)
        else:
            self.refusal = ""

    def say(self, answer: str) -> None:
        """Shows *answer* to a key for some seconds; it takes the place of a refusal."""
        self._answer, self._answered_s, self.refusal = answer, self.clock(), ""

    def nudge_fader(self, change_db: float) -> None:
        """Moves the fader by *change_db*, or reports that it was moved."""
        if not math.isfinite(self.feed.snapshot().fader_db):
            self.refusal = texts.RAISE_BY_HAND
            return
        self.send_command(Nudge(change_db))

    def jump(self, direction: int) -> None:
        """Moves the cursor to the next event or stretch over the limit (1), or the one before (-1)."""
        self.cursor.jump(places_s(self.feed.timeline(), self.feed.snapshot().goal), direction)

    def _arm_is_news(self, snapshot: Snapshot) -> bool:
        """True for some refreshes after the sentence about arming has changed."""
        sentence = snapshot.arm.sentence if snapshot.arm else ""
        if sentence != self._sentence:
            self._sentence, self._news_left = sentence, _NEWS_LOOKS
        self._news_left = max(0, self._news_left - 1)
        return self._news_left > 0

    def switch_unit(self) -> None:
        """Switches between LUFS and LU."""
        self.taste = replace(self.taste, unit="LUFS" if self.taste.unit == "LU" else "LU")

    def switch_scale(self) -> None:
        """Switches between the near and the far scale."""
        self.taste = replace(self.taste, reach_lu=_next(REACHES_LU, self.taste.reach_lu))

    def switch_contrast(self) -> None:
        """Switches between usual and high contrast."""
        self.taste = replace(self.taste, contrast="usual" if self.taste.contrast == "high" else "high")

    def switch_ground(self) -> None:
        """Switches between the terminal's own ground, a dark one and a light one."""
        self.taste = replace(self.taste, ground=_next(GROUNDS, self.taste.ground))

    def select_goal(self, name: str) -> None:
        """Measures against another goal, which a run after this one begins with."""
        self.send_command(SelectGoal(name))
        if not self.refusal and self.kind in ("live", "rehearsal"):
            self.taste = replace(self.taste, goal=name)

    def zoom(self, steps: int) -> None:
        """Shows a shorter stretch for negative *steps*, a longer one for positive; stops at both ends.

        Stretches as long as the programme are skipped: they would show what the whole shows.
        """
        snapshot = self.feed.snapshot()
        whole_s = programme_s(snapshot.reading.seconds, snapshot.duration_s)
        useful = [zoom_s for zoom_s in ZOOMS_S if zoom_s < whole_s]
        now = useful.index(self.taste.zoom_s) if self.taste.zoom_s in useful else len(useful) - 1
        self.taste = replace(self.taste, zoom_s=useful[max(0, min(len(useful) - 1, now + steps))])


def _usable(taste: Taste) -> Taste:
    """*taste* with a reach and a zoom that this screen has."""
    reach_lu = taste.reach_lu if taste.reach_lu in REACHES_LU else REACHES_LU[0]
    return replace(taste, reach_lu=reach_lu, zoom_s=taste.zoom_s if taste.zoom_s in ZOOMS_S else 0.0)


def _next(choices: Sequence[Choice], now: Choice) -> Choice:
    return choices[(choices.index(now) + 1) % len(choices)]
