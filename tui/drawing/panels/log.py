"""What happened when: events and the stretches over the limit, newest first, and how sending goes."""

from __future__ import annotations

from collections.abc import Sequence

from sidecar.model.snapshot import Event, Target
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, shortened
from tui.drawing.panels.events import sign
from tui.drawing.panels.overs import Over, overs, short_term_line
from tui.drawing.panels.status import target_runs
from tui.drawing.view import View

_KIND = 18
_TEXT = 29
MOST = 500
"""Entries that a dialog shows; those before are counted."""


def log_rows(view: View, width: int) -> list[Row]:
    """A line each: the time, what it was, and its text."""
    goal = view.snapshot.goal
    entries = [
        *(
            (event.seconds, _event_row(event, width, letters=not view.half_blocks))
            for event in view.history.events
        ),
        *((over.start_s, _over_row(over, view, width)) for over in overs(view.history, goal)),
    ]
    entries.sort(key=lambda entry: entry[0], reverse=True)
    rows = [row for _, row in entries[:MOST]]
    if len(entries) > MOST:
        rows.append(((texts.AND_BEFORE.format(count=wording.count(len(entries) - MOST)), "dim"),))
    return rows or [((texts.NOTHING_HAPPENED, "plain"),)]


def summary(view: View) -> Row:
    """How often, and for how long in all, short-term was over its line."""
    goal = view.snapshot.goal
    found = overs(view.history, goal)
    limit = wording.level(short_term_line(goal), goal, relative=view.relative)
    if not found:
        return ((texts.NEVER_OVER.format(limit=limit), "plain"),)
    times = texts.ONCE if len(found) == 1 else texts.TIMES.format(count=len(found))
    total_s = sum(over.end_s - over.start_s for over in found)
    return ((texts.WAS_OVER.format(limit=limit, times=times, seconds=wording.plain(total_s)), "plain"),)


def target_rows(targets: Sequence[Target], width: int) -> list[Row]:
    """Where OSC goes, a line each, with what was not sent and why."""
    if not targets:
        return [((f"{texts.OSC_OFF}.", "plain"),)]
    rows: list[Row] = []
    for target in targets:
        fault = f": {target.fault}" if target.fault else ""
        runs = target_runs(target)
        room = width - sum(len(text) for text, _ in runs)
        if len(fault) <= room:
            rows.append((*runs, (fault, "over")))
        else:
            rows += [runs, ((shortened(f"  {target.fault}", width), "over"),)]
    return rows


def _event_row(event: Event, width: int, *, letters: bool) -> Row:
    shape, tone = sign(event, letters=letters)
    kind: str = event.kind
    text = event.text
    if kind == "alert":  # its name is what it was
        name, _, rest = text.partition(" ")
        kind, text = name, f"alert {rest}"
    return _row(width, wording.clock(event.seconds), f"{shape} {kind}", text, tone)


def _over_row(over: Over, view: View, width: int) -> Row:
    time = f"{wording.clock_tenths(over.start_s)}, {wording.plain(over.end_s - over.start_s)} s"
    highest = wording.level(over.highest_lufs, view.snapshot.goal, relative=view.relative)
    said = texts.UP_TO.format(level=highest)
    if len(said) > width - _TEXT:
        said = texts.UP_TO_SHORT.format(level=highest)
    return _row(width, time, "▲ hot", said, "over bold")


def _row(width: int, time: str, kind: str, text: str, tone: str) -> Row:
    cells = Cells(width)
    cells.put(0, time, "plain")
    cells.put(_KIND, kind, tone)
    cells.put(_TEXT, shortened(text, width - _TEXT), "plain")
    return cells.row()
