"""The cursor on the history, and what was read there."""

from __future__ import annotations

import math

import numpy as np

from sidecar.model.snapshot import Event, Timeline
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone, fit, shortened, width_of
from tui.drawing.columns import Window
from tui.drawing.panels.events import sign
from tui.drawing.panels.overs import short_term_line
from tui.drawing.view import View

NEAR_S = 0.5
"""An event this near to the cursor is shown with it, or one in the cursor's own column if that is wider."""

_HAIR_S = 0.05
_WORDS, _LETTERS = ("short-term", "integrated"), ("S", "I")


def draw_cursor(chart: list[Cells], x: int) -> None:
    """A line through the column *x*; it keeps the ground that it crosses."""
    for row in chart:
        if not 0 <= x < row.width:
            continue
        char, under = row[x]
        ground = under.split(" on ")[-1].removesuffix(" bold")
        filled = " on " in under or char == "█"
        row.put(x, "│", f"strong on {ground}" if filled else "strong")


def reading_row(view: View, shown: Window, width: int) -> Row:
    """Time, short-term, integrated, fader and the events at the cursor; words give way to letters first."""
    history = view.history
    if not len(history.seconds):
        return fit(((texts.NOTHING_MEASURED, "dim"),), width)
    at_s = view.cursor_s or 0.0
    index = max(0, int(np.searchsorted(history.seconds, at_s + _HAIR_S, side="right")) - 1)
    near = events_near(history, float(history.seconds[index]), max(NEAR_S, shown.width_s))
    events = tuple(_event(event, letters=not view.half_blocks) for event in near)
    full, short = (_values(view, index, words) for words in (_WORDS, _LETTERS))
    values = full if width_of((*full, *events)) <= width else short
    room = width - width_of(values)
    if width_of(events) > room:
        events = tuple((shortened(text, room), tone) for text, tone in events[:1])
    return fit((*values, *events), width)


def events_near(history: Timeline, at_s: float, reach_s: float) -> list[Event]:
    """The events within *reach_s* of *at_s*, the nearest first."""
    near = [event for event in history.events if abs(event.seconds - at_s) <= reach_s]
    return sorted(near, key=lambda event: abs(event.seconds - at_s))


def _values(view: View, index: int, words: tuple[str, str]) -> Row:
    """The readings at one sample; an unknown fader position is left out."""
    goal, history = view.snapshot.goal, view.history
    short_term, integrated = (
        wording.level(float(values[index]), goal, relative=view.relative)
        for values in (history.short_term, history.integrated)
    )
    is_over = float(history.short_term[index]) > short_term_line(goal)
    return (
        (f"▴{wording.clock_tenths(float(history.seconds[index]))}", "strong"),
        (f"  {'▲ ' if is_over else ''}{words[0]} {short_term}", "over bold" if is_over else "plain"),
        (f"  {words[1]} {integrated}", "plain"),
        (_fader(float(history.fader_db[index])), "plain"),
    )


def _fader(fader_db: float) -> str:
    if math.isnan(fader_db):
        return ""
    return f"  fader {wording.signed(fader_db)} dB" if math.isfinite(fader_db) else "  fader off"


def _event(event: Event, *, letters: bool) -> tuple[str, Tone]:
    shape, tone = sign(event, letters=letters)
    return f"  {shape} {event.text or event.kind}", tone
