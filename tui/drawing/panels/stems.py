"""The stems in a table: what each fader gives now, its move, what limits it, and its true peak."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sidecar.loudness.limits import is_over
from sidecar.model.headline import first_stem
from sidecar.model.readings import SILENCE, Limit, Move
from sidecar.model.snapshot import Stem
from sidecar.settings.goals import Goal
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone, shortened
from tui.drawing.view import View

ENTRY_WIDTH = 40
"""Cells of the narrowest entry: two fit beside one another into 80 columns, three into 120."""
_WIDEST_ENTRY = 56
"""Wider, a name would be too far from its figures."""
_FIGURES_WIDTH = 26

_LIMITS: dict[Limit, str] = {"ceiling": "△peak", "step": "step", "range": "end"}


def rows_wanted(stems: int, width: int) -> int:
    """Rows in which a head and *stems* stems find room."""
    return 1 + math.ceil(stems / _entries_beside(width)) if stems else 0


def stem_rows(view: View, width: int, height: int) -> list[Row]:
    """*height* rows: a head and the stems in their order, downwards, then rightwards.

    Where not all find room, those at rest are left out first, then the smallest moves; they are counted.
    """
    rows = [Cells(width) for _ in range(height)]
    beside = _entries_beside(width)
    stems, left_out = _kept(view.snapshot.stems, max(0, height - 1) * beside)
    if not stems:
        return [cells.row() for cells in rows]
    down = math.ceil(len(stems) / beside)
    beside = math.ceil(len(stems) / down)
    entry_width = min(_WIDEST_ENTRY, width // beside)
    for x in range(beside):
        _put_head(rows[0], x * entry_width, entry_width, left_out if x == beside - 1 else "")
    first = first_stem(stems)
    for index, stem in enumerate(stems):
        x, y = index // down * entry_width, 1 + index % down
        _put_entry(rows[y], x, entry_width, stem, view.snapshot.goal, is_first=stem is first)
    return [cells.row() for cells in rows]


def _entries_beside(width: int) -> int:
    return max(1, width // ENTRY_WIDTH)


def _kept(stems: Sequence[Stem], room: int) -> tuple[list[Stem], str]:
    """The stems that find *room*, in their order, and what is said of the others."""
    if len(stems) <= room:
        return list(stems), ""
    urgent = sorted(range(len(stems)), key=lambda i: (stems[i].move.is_quiet, -abs(stems[i].move.gain_db)))
    kept, others = sorted(urgent[:room]), urgent[room:]
    at_rest = all(stems[i].move.is_quiet for i in others)
    return [stems[i] for i in kept], f"+{len(others)} {'at rest' if at_rest else 'more'}"


def _put_head(cells: Cells, x: int, width: int, left_out: str) -> None:
    figures = x + width - _FIGURES_WIDTH - 1
    cells.put(x + 1, left_out or "stem", "plain" if left_out else "faint")
    for start, text in ((0, " fader"), (7, "  move"), (14, "limit"), (20, "  dBTP")):
        cells.put(figures + start, text, "faint")


def _put_entry(cells: Cells, x: int, width: int, stem: Stem, goal: Goal, *, is_first: bool) -> None:
    """Name, fader, move, limit and true peak; a stem at rest stays dim unless it peaks."""
    move, calm = stem.move, stem.move.is_quiet
    figures = x + width - _FIGURES_WIDTH - 1
    tone = "dim" if calm else "strong" if is_first else "plain"
    cells.put(x + 1, shortened(stem.name, figures - x - 2), tone)
    position = "off" if stem.fader_db == SILENCE else wording.signed(stem.fader_db)
    cells.put(figures, f"{position:>6}", "dim" if calm else "plain")
    text, ink = _moved(move)
    cells.put(figures + 7, text, f"{ink} bold" if is_first else ink)
    if move.limited_by is not None and (move.gain_db or move.limited_by != "range"):
        cells.put(
            figures + 14, _LIMITS[move.limited_by], "ceiling" if move.limited_by == "ceiling" else "plain"
        )
    over = is_over(stem.true_peak, goal.ceiling_dbtp)
    peak = f"{'△' if over else ''}{wording.plain(stem.true_peak)}"
    cells.put(figures + 20, f"{peak:>6}", "ceiling bold" if over else "dim" if calm else "plain")


def _moved(move: Move) -> tuple[str, Tone]:
    """Direction as a shape, dB without a sign; in words where there is nothing to do."""
    if move.is_quiet:
        return " stays", "dim"
    if move.gain_db == 0.0:
        return (" held" if move.limited_by == "range" else "   0.0"), "plain"
    rises = move.gain_db > 0.0
    return f"{'▲' if rises else '▼'}{wording.plain(abs(move.gain_db)):>5}", "under" if rises else "over"
