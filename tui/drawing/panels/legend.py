"""Every shape and colour that the screen speaks with, each beside its word."""

from __future__ import annotations

from collections.abc import Iterable
from typing import get_args

from sidecar.model.readings import ALERT_NAMES, Alert, AlertName, AlertState
from sidecar.model.snapshot import ArmState, Event, EventKind, Snapshot, Transport
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Run, Tone
from tui.drawing.panels.events import sign
from tui.drawing.panels.standing import arm_state
from tui.drawing.panels.status import TRANSPORT, alert_run

_COLUMN = 12
_ALERT_COLUMNS = (0, 13, 37)
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
    ("┊  ┊", "faint", "a move, a marker or a gap"),
    ("│  │", "strong", "the cursor"),
)


def lamp_rows(snapshot: Snapshot, width: int) -> list[Row]:
    """A headline and rows for each kind of sign that must be distinguishable."""
    return [
        ((texts.LOOKS_HOW, "strong"),),
        *_section(texts.LOOKS_SIDES, map(_side, _SIDES)),
        *_section(texts.LOOKS_ALERTS, (_alert(n, snapshot) for n in ALERT_NAMES)),
        *_section(texts.LOOKS_HISTORY, map(_drawn, _HISTORY)),
        *_section(texts.LOOKS_EVENTS, [_spread(_events(), width)]),
        *_section(texts.LOOKS_RUN, [_spread(_states(), width), _spread(_arm_states(), width)]),
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


def _alert(name: AlertName, snapshot: Snapshot) -> Row:
    cells = Cells(_ALERT_COLUMNS[-1] + 28)
    for x, state in zip(_ALERT_COLUMNS, _STATES, strict=True):
        text, tone = alert_run(Alert(name, state, _SHOWN[name]), snapshot, 1)
        cells.put(x, text, tone)
    return cells.row()


def _drawn(thing: tuple[str, Tone, str]) -> Row:
    cells, tone, words = thing
    return ((f"{cells:<{_COLUMN}}", tone), (words, "plain"))


def _events() -> list[Run]:
    found = [Event(0.0, "alert", "ceiling"), *(Event(0.0, kind, "") for kind in get_args(EventKind))]
    return [(f"{sign(event)[0]} {event.text or event.kind}", sign(event)[1]) for event in found]


def _states() -> list[Run]:
    return [TRANSPORT[transport] for transport in get_args(Transport)]


def _arm_states() -> list[Run]:
    states = (ArmState("", True, ""), ArmState("", False, "", is_waiting=True), ArmState("", False, ""))
    return [*map(arm_state, states), (texts.LIGHT_SHORTEST, "strong")]


def _spread(runs: Iterable[Run], width: int) -> Row:
    """One beside the other, with room between."""
    cells, x = Cells(width), 0
    for text, tone in runs:
        cells.put(x, text, tone)
        x += len(text) + 3
    return cells.row()
