"""What the person's hands change: the run through its feed, and how it is looked at."""

from __future__ import annotations

import math
from dataclasses import replace

from sidecar.model.commands import Command, Nudge
from sidecar.model.headline import chosen
from sidecar.model.snapshot import Feed, Snapshot
from tui import texts
from tui.cursor import Cursor
from tui.drawing.panels.overs import places_s
from tui.drawing.view import View

ZOOMS_S: tuple[float | None, ...] = (30.0, 60.0, 120.0, 300.0, 900.0, 3600.0, None)
"""Stretches of programme the course can show; None is the whole."""

REACHES_LU = (18.0, 36.0)
"""The two scales that EBU Tech 3341 §2.7 lets a person choose between, by their lower ends."""


_NEWS_LOOKS = 400
"""Looks for which a new sentence of the hand is shown in full: 20 s, for some forty words."""


def transport_verb(snapshot: Snapshot) -> str:
    """What the space bar means now. A run that lost its audio is still on, so it can be paused."""
    if snapshot.transport == "paused":
        return "continue"
    was_heard = snapshot.transport == "waiting" and snapshot.reading.seconds > 0.0
    return "pause" if snapshot.transport == "measuring" or was_heard else "start"


def offers(snapshot: Snapshot) -> frozenset[str]:
    """Of the keys that are not always there, those that do something now.

    Nobody shall believe that a move was made that cannot be made from here: following is for the programme
    fader, where the sidecar holds it or was given leave to move it.
    """
    hand = snapshot.hand
    is_reached = snapshot.holds_fader or (hand is not None and hand.is_armed)
    offered = {
        "acknowledge": any(alert.state != "off" for alert in snapshot.alerts),
        "follow": is_reached and not chosen(snapshot).stem,
        "arm": hand is not None and not hand.is_armed,
        "disarm": hand is not None and hand.is_armed,
        "confirm": bool(snapshot.guess),
        "dismiss": bool(snapshot.guess),
        "balance": bool(snapshot.stems),
        "rides": bool(snapshot.rides or snapshot.rides_reason),
    }
    return frozenset({transport_verb(snapshot), *(name for name, does in offered.items() if does)})


class Controller:
    """A feed, the way it is looked at, and the commands that keys and clicks turn into."""

    def __init__(self, feed: Feed, *, half_blocks: bool = True, is_past: bool = False) -> None:
        self.feed = feed
        self.is_past = is_past
        """True where the pass is over and only looked at."""
        self.refusal = ""
        """Why the last command was not taken; empty when it was."""
        self.cursor = Cursor()
        self._half_blocks = half_blocks
        self._relative = False
        self._reach = 0
        self._zoom = len(ZOOMS_S) - 1
        self._sentence = ""
        self._news_left = 0

    def read_view(self) -> View:
        """The run as it is now."""
        snapshot, course = self.feed.snapshot(), self.feed.timeline()
        self.cursor.programme_reached(float(course.seconds[-1]) if len(course.seconds) else 0.0)
        return View(
            snapshot=snapshot,
            course=course,
            cursor_s=self.cursor.at_s,
            relative=self._relative,
            reach_lu=REACHES_LU[self._reach],
            zoom_s=ZOOMS_S[self._zoom],
            fault=self.refusal,
            hand_is_news=self._hand_is_news(snapshot),
            half_blocks=self._half_blocks,
        )

    def glance(self, before: View) -> View:
        """The run as it is now, with the course of *before*: of a day that takes a millisecond to ask for."""
        snapshot = self.feed.snapshot()
        return replace(before, snapshot=snapshot, hand_is_news=self._hand_is_news(snapshot))

    def send_command(self, command: Command) -> None:
        """Send a command; a refusal is kept to be shown, whatever it is: the screen has to stay."""
        try:
            self.feed.send_command(command)
        except Exception as error:
            self.refusal = str(error)
        else:
            self.refusal = ""

    def nudge_fader(self, change_db: float) -> None:
        """Move the fader by *change_db*, or tell that it was moved."""
        if not math.isfinite(self.feed.snapshot().fader_db):
            self.refusal = texts.RAISE_BY_HAND
            return
        self.send_command(Nudge(change_db))

    def jump(self, direction: int) -> None:
        """To the next event or stretch over the limit (1), or the one before (-1)."""
        self.cursor.jump(places_s(self.feed.timeline(), self.feed.snapshot().goal), direction)

    def _hand_is_news(self, snapshot: Snapshot) -> bool:
        """True for some looks after the hand said something new."""
        sentence = snapshot.hand.sentence if snapshot.hand else ""
        if sentence != self._sentence:
            self._sentence, self._news_left = sentence, _NEWS_LOOKS
        self._news_left = max(0, self._news_left - 1)
        return self._news_left > 0

    def switch_unit(self) -> None:
        """LUFS to LU and back."""
        self._relative = not self._relative

    def switch_scale(self) -> None:
        """The near scale to the far one and back."""
        self._reach = (self._reach + 1) % len(REACHES_LU)

    def zoom(self, steps: int) -> None:
        """Negative: closer; positive: wider; it stops at both ends."""
        self._zoom = max(0, min(len(ZOOMS_S) - 1, self._zoom + steps))
