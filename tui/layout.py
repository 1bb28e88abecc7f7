"""How the rows of a screen are shared out: what is needed most gets room first."""

from __future__ import annotations

from dataclasses import dataclass, field

MAIN_RAILS = 7
THICK_RAILS = 4
"""Further rows when landing, integrated, short-term and momentary are two cells thick."""
MOST_PEAK_ROWS = 6
MOST_OUTLETS = 2
_LEAST_COURSE = 3
_WALL_ROWS = 56
"""From here on the figures of the move are set twice as large."""


@dataclass(slots=True)
class Plan:
    """Heights of the panels, top to bottom, in rows; their sum is the height that was given."""

    heading: int = 0
    hero: int = 0
    rails: int = 0
    course: int = 0
    alerts: int = 0
    outlets: int = 0
    thickness: int = 1
    """Rows of each rail's bar."""
    peak_rows: int = 1
    spare: int = field(default=0, repr=False)

    def take(self, panel: str, rows: int) -> bool:
        """Give *panel* more *rows* if there are as many left; tells whether there were."""
        if rows > self.spare:
            return False
        setattr(self, panel, getattr(self, panel) + rows)
        self.spare -= rows
        return True


_STEPS = (
    ("hero", 1),
    ("rails", 1),
    ("heading", 1),
    ("alerts", 1),
    ("rails", 2),
    ("hero", 3),
    ("rails", 4),
    ("outlets", 1),
    ("hero", 3),
)


def plan(rows: int, channels: int) -> Plan:
    """Share *rows* out among the panels for a programme of *channels* channels."""
    shared = Plan(spare=max(0, rows))
    for panel, height in _STEPS:
        if not shared.take(panel, height):
            break
    else:
        _spend_more(shared, rows, channels)
    if shared.spare >= _LEAST_COURSE:
        shared.course = shared.spare
    else:
        shared.hero += shared.spare
    shared.spare = 0
    return shared


def _spend_more(shared: Plan, rows: int, channels: int) -> None:
    """What a tall screen adds once everything has its place and the course six rows."""
    shared.spare -= _COURSE
    if shared.spare < 0:
        shared.spare += _COURSE
        return
    shared.take("outlets", MOST_OUTLETS - 1)
    if shared.take("rails", THICK_RAILS):
        shared.thickness = 2
    if 1 < channels <= MOST_PEAK_ROWS and shared.take("rails", channels - 1):
        shared.peak_rows = channels
    shared.take("hero", 1)
    if rows >= _WALL_ROWS:
        shared.take("hero", 7)
    shared.spare += _COURSE


_COURSE = 6
