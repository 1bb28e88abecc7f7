"""The passes on record, each with its difference to the one before it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sidecar.model.snapshot import PastPass
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone, shortened
from tui.drawing.view import View

_COLUMNS = (("length", 9), ("integrated", 12), ("differs by", 12), ("range", 9), ("peak", 8))
"""Right-aligned, each with its cells."""
_NEEDED = (1, 2, 4)
"""Those of a narrow list."""
_BEGAN = 17
_FIGURES = sum(width for _, width in _COLUMNS)
_ROOMY = _FIGURES + _BEGAN + 12
"""Cells in which the source and the time have room beside the figures."""


def pass_rows(view: View, width: int) -> list[Row]:
    """A head, this pass, and those before it, the last one first."""
    snapshot, reading = view.snapshot, view.snapshot.reading
    now = PastPass(
        0,
        texts.THIS_PASS,
        snapshot.source,
        snapshot.goal.name,
        reading.seconds,
        reading.integrated,
        reading.loudness_range,
        reading.max_true_peak,
    )
    shown = (now, *snapshot.passes)
    head = _row(width, ("began", "source"), [name for name, _ in _COLUMNS], ["dim"] * len(_COLUMNS))
    rows = [_pass_row(view, width, one, shown[place + 1 :]) for place, one in enumerate(shown)]
    return [head, *rows]


def _pass_row(view: View, width: int, one: PastPass, before: Sequence[PastPass]) -> Row:
    difference_lu = one.integrated - before[0].integrated if before else -math.inf
    known = math.isfinite(difference_lu)
    figures = (
        wording.clock(one.seconds),
        wording.bare_level(one.integrated, view.snapshot.goal, relative=view.relative),
        f"{wording.signed(difference_lu)} LU" if known else "",
        f"{wording.plain(one.loudness_range)} LU",
        wording.plain(one.max_true_peak),
    )
    tones: tuple[Tone, ...] = ("plain", "strong", "plain", "dim", "dim")
    return _row(width, (one.began, one.source), figures, tones)


def _row(width: int, names: tuple[str, str], figures: Sequence[str], tones: Sequence[Tone]) -> Row:
    cells = Cells(width)
    began, source = names
    columns = range(len(_COLUMNS)) if width > _FIGURES + len(texts.THIS_PASS) else _NEEDED
    start = max(0, width - sum(_COLUMNS[k][1] for k in columns))
    if width >= _ROOMY:
        cells.put(0, began, "plain")
        cells.put(_BEGAN, shortened(source, start - _BEGAN - 1), "dim")
    else:
        day_and_time = began[5:] if began[:1].isdigit() else began
        cells.put(0, shortened(day_and_time, start + 1), "plain")
    x = start
    for k in columns:
        x += _COLUMNS[k][1]
        cells.put(x - len(figures[k]), figures[k], tones[k])
    return cells.row()
