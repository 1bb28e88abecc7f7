"""How the rows of a screen are shared out: what is needed most gets room first."""

from __future__ import annotations

from dataclasses import dataclass, field

from tui.drawing.panels.scales import Rows

MOST_PEAK_ROWS = 6
_WALL_ROWS = 56
"""From here on the figures of the move are set twice as large."""
_LARGE_FROM = 72
"""Columns from which the figures of the move are set in whole blocks, which take seven rows."""
_LARGE_BELOW_FROM, _LARGE_BELOW_ROWS = 48, 11
"""Columns and rows in which whole blocks find room with the words below them, as on a phone held upright."""


@dataclass(slots=True)
class RowPlan:
    """Heights of the panels, top to bottom, in rows; their sum is the height that was given."""

    heading: int = 0
    hero: int = 0
    standing: int = 0
    stems: int = 0
    scales: int = 0
    history: int = 0
    alerts: int = 0
    outlets: int = 0
    parts: Rows = field(default_factory=Rows)
    """What the rows of the scales hold."""
    spare: int = field(default=0, repr=False)

    def reserve(self, panel: str, rows: int) -> bool:
        """Gives *panel* more *rows* if as many are left; returns whether they were."""
        if rows > self.spare:
            return False
        setattr(self, panel, getattr(self, panel) + rows)
        self.spare -= rows
        return True


_STEPS = (
    ("scales", 1),
    ("heading", 1),
    ("alerts", 1),
    ("scales", 2),
    ("hero", 2),
    ("history", 2),
    ("hero", 1),
    ("scales", 4),
    ("hero", 1),
)
"""What a growing screen adds to the hero's first row, in this order, until all is there at 16 rows; what the
run has to say is in the row of the alerts until it gets one of its own."""

_LEAST_HISTORY, _HISTORY, _TALL_HISTORY = 6, 6, 12
"""Rows of the history before notices have a row of their own, before anything else grows further, and before
bars grow thick."""
_LEAST_HERO = 4
"""Rows of the hero, its figures in half blocks, when a table of stems needs the others."""


def plan(
    rows: int, channels: int, *, width: int = 80, standing: int = 0, stems: int = 0, dialogue: int = 0
) -> RowPlan:
    """Share *rows* out among the panels for a programme of *channels* channels on *width* columns.

    standing, stems, dialogue: rows that these ask for. The state of automatic moves is there from the second
    row on; for the stems first the history gives way, then the size of the figures.
    """
    shared = RowPlan(spare=max(0, rows))
    is_complete = shared.reserve("hero", 1)
    if standing and shared.reserve("standing", 1):
        standing -= 1
    is_complete = is_complete and all(shared.reserve(panel, height) for panel, height in _STEPS)
    if is_complete:
        shared.reserve("standing", min(standing, shared.spare))
        _make_room(shared, stems)
        if width >= _LARGE_FROM:
            shared.reserve("hero", 2)
        _grow(shared, rows, channels, dialogue)
        if _LARGE_BELOW_FROM <= width < _LARGE_FROM and shared.history >= _TALL_HISTORY:
            shared.reserve("hero", max(0, _LARGE_BELOW_ROWS - shared.hero))
    rest = "history" if shared.history else "hero"
    shared.reserve(rest, shared.spare)
    return shared


def _make_room(shared: RowPlan, stems: int) -> None:
    """The table of stems; the history, then the hero, gives up what it takes."""
    for panel, least in (("history", 0), ("hero", _LEAST_HERO)):
        if stems > shared.spare:
            shared.reserve(panel, max(least - getattr(shared, panel), shared.spare - stems))
    shared.reserve("stems", min(stems, shared.spare))


def _grow(shared: RowPlan, rows: int, channels: int, dialogue: int) -> None:
    """What a tall screen adds before the rest goes to the history."""
    if not shared.reserve("history", max(0, _LEAST_HISTORY - shared.history)) or not shared.reserve(
        "outlets", 1
    ):
        return
    if not shared.reserve("history", max(0, _HISTORY - shared.history)):
        return
    has_dialogue = dialogue > 0 and shared.reserve("scales", dialogue)
    peaks = 1
    if 1 < channels <= MOST_PEAK_ROWS and shared.reserve("scales", channels - 1):
        peaks = channels
    has_distribution = shared.reserve("scales", 1)
    has_correlation = channels > 1 and shared.reserve("scales", 1)
    thickness = 1
    if shared.reserve("history", max(0, _TALL_HISTORY - shared.history)):
        thickness += shared.reserve("scales", 2)
        shared.reserve("hero", 1)
    shared.parts = Rows(thickness, peaks, has_distribution, has_correlation, has_dialogue)
    if rows >= _WALL_ROWS:
        shared.reserve("hero", 7)
