"""State of the screen and commands to the run, as changed by keys and clicks."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from sidecar.model.commands import Command, Nudge
from sidecar.model.headline import chosen
from sidecar.model.snapshot import Feed, Snapshot
from tui import texts
from tui.cursor import Cursor
from tui.drawing.columns import programme_s
from tui.drawing.panels.overs import places_s
from tui.drawing.panels.stands import stands_of
from tui.drawing.view import View
from tui.drawing.wording import Stands

ZOOMS_S: tuple[float | None, ...] = (30.0, 60.0, 120.0, 300.0, 900.0, 3600.0, None)
"""Stretches of programme the history can show; None is the whole."""

REACHES_LU = (18.0, 36.0)
"""The two scales that EBU Tech 3341 §2.7 lets a person choose between, by their lower ends."""


RunKind = Literal["live", "rehearsal", "attached", "past"]
"""A measurement that ends with the screen, a rehearsal, a run elsewhere, a pass that is over."""

_NEWS_LOOKS = 400
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
    arm = snapshot.arm
    is_reached = snapshot.controls_fader or (arm is not None and arm.is_armed)
    offered = {
        "acknowledge": bool(snapshot.script_fault) or any(alert.state != "off" for alert in snapshot.alerts),
        "follow": is_reached and not chosen(snapshot).stem,
        "arm": arm is not None and not (arm.is_armed or arm.is_waiting),
        "disarm": arm is not None and arm.is_armed,
        "cancel": arm is not None and arm.is_waiting,
        "move_fader": is_reached,
        "log_fader": arm is None and not snapshot.controls_fader,
        "confirm": bool(snapshot.guess),
        "dismiss": bool(snapshot.guess),
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

    def __init__(self, feed: Feed, *, half_blocks: bool = True, kind: RunKind = "live") -> None:
        self.feed = feed
        self.kind = kind
        self.refusal = ""
        """Why the last command was refused; empty where it was carried out."""
        self.cursor = Cursor()
        self.time_of_day: Callable[[], str] = lambda: time.strftime("%H:%M:%S")
        self._half_blocks = half_blocks
        self._relative = False
        self._reach = 0
        self._zoom = len(ZOOMS_S) - 1
        self._before: tuple[Snapshot, Stands] | None = None
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
            relative=self._relative,
            reach_lu=REACHES_LU[self._reach],
            time_of_day=self.time_of_day(),
            zoom_s=ZOOMS_S[self._zoom],
            fault=self.refusal,
            arm_is_news=self._arm_is_news(snapshot),
            before=self._coloured(snapshot),
            half_blocks=self._half_blocks,
        )

    def glance(self, before: View) -> View:
        """Returns the run as it is now with the history of *before*: reading that of a day takes 1 ms."""
        snapshot = self.feed.snapshot()
        is_news, coloured = self._arm_is_news(snapshot), self._coloured(snapshot)
        return replace(before, snapshot=snapshot, arm_is_news=is_news, before=coloured)

    def _coloured(self, snapshot: Snapshot) -> Stands:
        """Returns how the measures are coloured, to be given to the panels as what they were before."""
        before = Stands()
        if self._before is not None and _goes_on(self._before[0], snapshot):
            before = self._before[1]
        now = stands_of(snapshot, before)
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
        self._relative = not self._relative

    def switch_scale(self) -> None:
        """Switches between the near and the far scale."""
        self._reach = (self._reach + 1) % len(REACHES_LU)

    def zoom(self, steps: int) -> None:
        """Shows a shorter stretch for negative *steps*, a longer one for positive; stops at both ends.

        Stretches as long as the programme are skipped: they would show what the whole shows.
        """
        snapshot = self.feed.snapshot()
        whole_s = programme_s(snapshot.reading.seconds, snapshot.duration_s)
        whole = len(ZOOMS_S) - 1
        useful = [place for place, zoom_s in enumerate(ZOOMS_S) if zoom_s is None or zoom_s < whole_s]
        now = useful.index(self._zoom if self._zoom in useful else whole)
        self._zoom = useful[max(0, min(len(useful) - 1, now + steps))]
