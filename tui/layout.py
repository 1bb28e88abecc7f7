"""How the rows of a screen are shared out: what is needed most gets room first."""

from __future__ import annotations

from dataclasses import dataclass, field

THICK_SCALES = 2
"""Further rows when what counts in the end, landing and integrated, is two cells thick."""
MOST_PEAK_ROWS = 6
_LEAST_HISTORY = 3
_WALL_ROWS = 56
"""From here on the figures of the move are set twice as large."""


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
    thickness: int = 1
    """Rows of the bars of landing and integrated."""
    peak_rows: int = 1
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
    ("hero", 3),
    ("scales", 4),
    ("outlets", 1),
    ("hero", 3),
)
"""What a growing screen adds to the hero's first row, in this order, until all is there at 17 rows."""

_HISTORY = 6
"""Rows of the history before anything else grows further."""
_LEAST_HERO = 4
"""Rows of the hero, its figures in half blocks, when a table of stems needs the others."""


def plan(rows: int, channels: int, *, standing: int = 0, stems: int = 0) -> RowPlan:
    """Share *rows* out among the panels for a programme of *channels* channels.

    standing, stems: rows that these panels ask for. The hand's state is there from the second row on; for
    the stems first the history gives way, then the size of the figures.
    """
    shared = RowPlan(spare=max(0, rows))
    is_complete = shared.reserve("hero", 1)
    if standing and shared.reserve("standing", 1):
        standing -= 1
    is_complete = is_complete and all(shared.reserve(panel, height) for panel, height in _STEPS)
    if is_complete:
        shared.reserve("standing", min(standing, shared.spare))
        _make_room(shared, stems)
    if is_complete and shared.spare >= _HISTORY:
        shared.reserve("history", _HISTORY)
        _grow(shared, rows, channels)
    rest = "history" if is_complete and shared.history + shared.spare >= _LEAST_HISTORY else "hero"
    shared.reserve(rest, shared.spare)
    return shared


def _make_room(shared: RowPlan, stems: int) -> None:
    """The table of stems; where the hero gave more rows than it takes, it gets the others back."""
    if stems > shared.spare:
        shared.reserve("hero", _LEAST_HERO - shared.hero)
    shared.reserve("stems", min(stems, shared.spare))


def _grow(shared: RowPlan, rows: int, channels: int) -> None:
    """What a tall screen adds before the rest goes to the history."""
    shared.reserve("outlets", 1)
    if shared.reserve("scales", THICK_SCALES):
        shared.thickness = 2
    if 1 < channels <= MOST_PEAK_ROWS and shared.reserve("scales", channels - 1):
        shared.peak_rows = channels
    shared.reserve("hero", 1)
    if rows >= _WALL_ROWS:
        shared.reserve("hero", 7)
