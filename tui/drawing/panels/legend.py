"""Every shape and colour that the screen speaks with, each beside its word."""

from __future__ import annotations

from collections.abc import Iterable
from typing import get_args

from sidecar.model.readings import ALERT_NAMES, Alert, AlertName, AlertState
from sidecar.model.snapshot import ArmState, Event, EventKind, Transport
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Run, Tone, width_of
from tui.drawing.panels.events import sign
from tui.drawing.panels.standing import arm_state
from tui.drawing.panels.status import TRANSPORT, alert_run
from tui.drawing.view import View

_COLUMN = 12
_ALERT_COLUMNS = (0, 13, 37)
_ALERTS_WIDTH = _ALERT_COLUMNS[-1] + 28
_GAP = 3
_SIDES = ("under", "inside", "over", "ceiling")
_STATES: tuple[AlertState, ...] = ("off", "on", "latched")
_SHOWN: dict[AlertName, float] = {"ceiling": -0.4, "over": -21.6, "hot": -17.2, "lost": 3.0, "silent": 8.0}
_HISTORY: tuple[tuple[str, Tone, str], ...] = (
    ("████", "fill", "short-term, up to the lowest"),
    ("████", "soft", "short-term, up to the highest"),
    ("████", "over", "short-term over its line"),
    ("▂▂▂▂", "band", "the pass zone"),
    ("────", "strong", "integrated"),
    ("░░░░", "inside", "forecast"),
    ("░░░░", "zone", "the pass zone of a scale"),
    ("▁▁▁▁", "strong on fill", "dialogue, along the floor"),
    ("┊  ┊", "faint", "a move, a marker or a gap"),
    ("│  │", "strong", "the cursor"),
)


def lamp_rows(view: View, width: int) -> list[Row]:
    """A headline and rows for each kind of sign that must be distinguishable."""
    return [
        ((texts.LOOKS_HOW, "strong"),),
        *_section(texts.LOOKS_SIDES, map(_side, _SIDES)),
        *_section(texts.LOOKS_ALERTS, (row for name in ALERT_NAMES for row in _alert(name, view, width))),
        *_section(texts.LOOKS_HISTORY, map(_drawn, _HISTORY)),
        *_section(texts.LOOKS_EVENTS, _spread(_events(view), width)),
        *_section(texts.LOOKS_RUN, [*_spread(_states(), width), *_spread(_arm_states(), width)]),
    ]


def _section(title: str, rows: Iterable[Row]) -> list[Row]:
    return [(), ((title, "dim"),), *rows]


def _side(side: str) -> Row:
    shape, bar = wording.SHAPES[side], "level" if side == "inside" else side
    return (
        (f"{side:<{_COLUMN}}", "plain"),
        (f"{shape} −23.0 LUFS  ", f"{side} bold"),
        ("██████", bar),
        (shape, f"paper on {bar} bold"),
        ("  ", "plain"),
        ("▒▒▒▒", side),
    )


def _alert(name: AlertName, view: View, width: int) -> list[Row]:
    """Its three states, in columns where they find room."""
    runs = [alert_run(Alert(name, state, _SHOWN[name]), view, 2) for state in _STATES]
    if width < _ALERTS_WIDTH:
        return _spread(runs, width)
    cells = Cells(_ALERTS_WIDTH)
    for x, run in zip(_ALERT_COLUMNS, runs, strict=True):
        cells.put(x, *run)
    return [cells.row()]


def _drawn(thing: tuple[str, Tone, str]) -> Row:
    cells, tone, words = thing
    return (cells, tone), (" " * (_COLUMN - len(cells)), "plain"), (words, "plain")


def _events(view: View) -> list[Run]:
    found = [Event(0.0, "alert", "ceiling"), *(Event(0.0, kind, "") for kind in get_args(EventKind))]
    signs = [sign(event, letters=not view.half_blocks) for event in found]
    return [
        (f"{shape} {event.text or event.kind}", tone)
        for event, (shape, tone) in zip(found, signs, strict=True)
    ]


def _states() -> list[Run]:
    return [TRANSPORT[transport] for transport in get_args(Transport)]


def _arm_states() -> list[Run]:
    states = (ArmState("", True, ""), ArmState("", False, "", is_waiting=True), ArmState("", False, ""))
    return [*map(arm_state, states), (texts.LIGHT_SHORTEST, "strong")]


def _spread(runs: Iterable[Run], width: int) -> list[Row]:
    """One beside the other, with room between, in as many rows as they need."""
    rows: list[list[Run]] = [[]]
    for run in runs:
        gap: list[Run] = [(" " * _GAP, "plain")] if rows[-1] else []
        if gap and width_of((*rows[-1], *gap, run)) > width:
            rows.append([])
            gap = []
        rows[-1] += [*gap, run]
    return [tuple(row) for row in rows]
