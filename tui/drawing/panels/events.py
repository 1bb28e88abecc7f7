"""What happened, marked over the history at the moment it happened."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len

from sidecar.model.readings import ALERT_NAMES
from sidecar.model.snapshot import Event
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone
from tui.drawing.columns import Window

_SIGNS: dict[str, tuple[str, Tone]] = {
    "move": ("↕", "strong"),
    "marker": ("◆", "strong"),
    "dialogue": ('"', "strong"),
    "gap": ("╳", "over bold"),
    "goal": ("┼", "plain"),
    "pause": ("‖", "dim"),
}
_RANK = ("alert", "gap", "move", "marker", "dialogue", "goal", "pause")
"""Which event is shown where several fall into one column: what needs a person first."""


def sign(event: Event, *, letters: bool = False) -> tuple[str, Tone]:
    """The shape of an event and its ink. letters: where a terminal shows ASCII alone."""
    if event.kind != "alert":
        return _SIGNS[event.kind]
    name = next((name for name in ALERT_NAMES if name in event.text.lower()), "over")
    return wording.alert_sign(name, letters=letters), "ceiling bold" if name == "ceiling" else "over bold"


def _placed(events: Sequence[Event], shown: Window) -> dict[int, Event]:
    """The most important event of each visible column."""
    placed: dict[int, Event] = {}
    for event in events:
        x = max(0, shown.column(event.seconds)) if event.seconds <= 0.0 else shown.column(event.seconds)
        if not 0 <= x < shown.count:
            continue
        rival = placed.get(x)
        if rival is None or _RANK.index(event.kind) <= _RANK.index(rival.kind):
            placed[x] = event
    return placed


def guide_columns(events: Sequence[Event], shown: Window) -> list[int]:
    """Columns that get a dotted line through the chart: where a hand or a gap changed the history."""
    return [x for x, event in _placed(events, shown).items() if event.kind in ("move", "gap", "marker")]


def events_row(events: Sequence[Event], shown: Window, *, letters: bool = False) -> Row:
    """A sign at each event, and its text where it fits before the next one."""
    cells = Cells(shown.count)
    placed = sorted(_placed(events, shown).items())
    ends = [x for x, _ in placed[1:]] + [shown.count]
    for (x, event), end in zip(placed, ends, strict=False):
        shape, tone = sign(event, letters=letters)
        cells.put(x, shape, tone)
        gap = " " if shape.isalpha() else ""  # a letter would read as part of the word
        if event.text and cell_len(event.text) + len(gap) < end - x - 1:
            cells.put(x + 1, f"{gap}{event.text}", "dim")
    return cells.row()
