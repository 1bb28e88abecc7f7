"""The cursor on the course, and what was read there."""

from __future__ import annotations

import math

import numpy as np

from sidecar.feed import Course, Event
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone, fit, shortened, text_of
from tui.drawing.columns import Window
from tui.drawing.events import sign
from tui.drawing.overs import short_term_line
from tui.drawing.view import View

NEAR_S = 0.5
"""An event this near to the cursor is told of with it, or one in the cursor's own column if that is wider."""

_HAIR_S = 0.05


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
    at_s, course = view.cursor_s or 0.0, view.course
    index = min(len(course.seconds), int(np.searchsorted(course.seconds, at_s + _HAIR_S, side="right"))) - 1
    if not len(course.seconds):
        return fit(((texts.NOTHING_HEARD, "dim"),), width)
    index = max(0, index)
    near = events_near(course, float(course.seconds[index]), max(NEAR_S, shown.width_s))
    for words in (("short-term", "integrated", "fader"), ("S", "I", "fader")):
        values = _values(view, index, words)
        if len(text_of((*values, *_told(near)))) <= width:
            break
    room = width - len(text_of(values))
    told = [(shortened(text, room), tone) for text, tone in _told(near)[:1]]
    return fit((*values, *(_told(near) if len(text_of(_told(near))) <= room else told)), width)


def events_near(course: Course, at_s: float, reach_s: float) -> list[Event]:
    """The events within *reach_s* of *at_s*, the nearest first."""
    near = [event for event in course.events if abs(event.seconds - at_s) <= reach_s]
    return sorted(near, key=lambda event: abs(event.seconds - at_s))


def _values(view: View, index: int, words: tuple[str, str, str]) -> Row:
    goal, course = view.snapshot.goal, view.course
    short_term, integrated = float(course.short_term[index]), float(course.integrated[index])
    fader_db = float(course.fader_db[index])
    is_over = short_term > short_term_line(goal)
    short_words, integrated_words, fader_words = words
    fader = f"{wording.signed(fader_db)} dB" if math.isfinite(fader_db) else "off"
    known = not math.isnan(fader_db)
    return (
        (f"▴{wording.clock_tenths(float(course.seconds[index]))}", "strong"),
        (
            f"  {'▷ ' if is_over else ''}{short_words} "
            + wording.level(short_term, goal, relative=view.relative),
            "over bold" if is_over else "plain",
        ),
        (f"  {integrated_words} {wording.level(integrated, goal, relative=view.relative)}", "plain"),
        (f"  {fader_words} {fader}" if known else "", "plain"),
    )


def _told(events: list[Event]) -> Row:
    return tuple(_event(event) for event in events)


def _event(event: Event) -> tuple[str, Tone]:
    shape, tone = sign(event)
    return f"  {shape} {event.text or event.kind}", tone
