"""All measures under one another: a label, the scale and the number with its unit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sidecar.loudness.limits import Side, is_over
from sidecar.model.headline import chosen
from tui.drawing import wording
from tui.drawing.blocks import LOWER
from tui.drawing.cells import Row, Tone, fit, shortened
from tui.drawing.channels import channel_names
from tui.drawing.panels.advice import landing_ink, landing_side
from tui.drawing.panels.distribution import Distribution
from tui.drawing.panels.figures import (
    correlation_row,
    dialogue_row,
    figures_row,
    range_figure,
    range_notes,
)
from tui.drawing.panels.overs import short_term_line
from tui.drawing.panels.sides import COMFORT_BELOW_LU, momentary_line, sides_of
from tui.drawing.scale import (
    LIVE_FLOOR_DBTP,
    GoalScale,
    offset_row,
    offset_shade,
    peaks_row,
    range_row,
    range_shade,
    scale_row,
)
from tui.drawing.view import View

_MARGIN = 1
LABEL_WIDTH, WIDE_LABEL_WIDTH = 14, 20
VALUE_WIDTH, WIDE_VALUE_WIDTH = 19, 31
WIDE_FROM = 110
"""Columns from which the maxima are beside the values."""
_ROOMY_FROM = 96
"""Columns from which the labels are written in full."""
_ESSENTIAL_ROWS = 7
"""With fewer, only the measures that are needed most."""

SILENT_LUFS = -70.0
"""BS.1770-5 Annex 1: below the absolute gate nothing counts as programme."""


@dataclass(frozen=True, slots=True)
class _Measure:
    label: str
    lufs: float
    low: float
    high: float
    side: Side
    highest: float | None = None
    over_shape: str = ""
    """The shape of the alert that begins above *high*, where it is not that of "over"."""


@dataclass(frozen=True, slots=True)
class Rows:
    """How many rows the parts of the scales take."""

    thickness: int = 1
    """Of the bars of landing and integrated."""
    peaks: int = 1
    has_distribution: bool = False
    has_correlation: bool = False
    has_dialogue: bool = False


def scales(
    view: View, width: int, height: int, rows: Rows = Rows(), distribution: Distribution | None = None
) -> list[Row]:
    """*height* rows: scale, landing, the measures, range, peaks, correlation, dialogue, figures.

    With fewer than seven rows only the most needed ones stay.
    """
    value_width = WIDE_VALUE_WIDTH if width >= WIDE_FROM else VALUE_WIDTH
    cells = width - _label_width(width) - value_width
    scale = GoalScale(max(1, cells - (1 - cells % 2)), view.reach_lu)
    integrated, short_term, momentary = (
        _measure_rows(measure, view, scale, width, thickness)
        for measure, thickness in zip(_measures(view), (rows.thickness, 1, 1), strict=True)
    )
    peaks = _peak_rows(view, scale, width, rows.peaks)
    if height < _ESSENTIAL_ROWS:
        return _exactly([*integrated, *peaks, *short_term, *momentary], width, height)
    label = wording.not_ebu_mode(view.snapshot.goal)
    drawn = [
        _row(width, label, scale_row(scale), "◁under over▷", "faint"),
        *_landing_rows(view, scale, width, rows.thickness),
        *(*integrated, *short_term, *momentary),
        *([_range_row(view, scale, width, distribution)] if rows.has_distribution and distribution else []),
        *peaks,
        *([_row(width, *correlation_row(view, scale), is_minor=True)] if rows.has_correlation else []),
        *([dialogue_row(view, width)] if rows.has_dialogue else []),
        figures_row(
            view,
            width,
            has_range_row=rows.has_distribution,
            has_correlation_row=rows.has_correlation,
            has_dialogue_row=rows.has_dialogue,
        ),
    ]
    return _exactly(drawn, width, height)


def _exactly(rows: list[Row], width: int, height: int) -> list[Row]:
    return [*rows, *([fit((), width)] * (height - len(rows)))][:height]


def _label_width(width: int) -> int:
    return WIDE_LABEL_WIDTH if width >= _ROOMY_FROM else LABEL_WIDTH


def _row(
    width: int, label: str, drawn: Row, value: str, tone: Tone, note: str = "", *, is_minor: bool = False
) -> Row:
    """A label, the scale, the value, and quietly what goes with it; still more quietly of a minor one."""
    quiet = "faint" if is_minor else "dim"
    room = _label_width(width)
    label = shortened(label, room - _MARGIN - 1)
    x = room + sum(len(text) for text, _ in drawn) + 1
    if x + len(value) + len(note) > width:
        note = ""
    runs = (
        (" " * _MARGIN, "plain"),
        (label, quiet),
        (" " * (room - _MARGIN - len(label)), "plain"),
        *drawn,
        (" ", "plain"),
        (value, tone),
        (note, quiet),
        (" " * (width - x - len(value) - len(note)), "plain"),
    )
    row = tuple(run for run in runs if run[0])
    return row if x + len(value) <= width else fit(row, width)


def _measures(view: View) -> tuple[_Measure, _Measure, _Measure]:
    reading, goal = view.snapshot.reading, view.snapshot.goal
    low = goal.target_lufs - COMFORT_BELOW_LU
    are = sides_of(view.snapshot, view.before)
    return (
        _Measure("Integrated", reading.integrated, goal.lowest_lufs, goal.highest_lufs, are.integrated),
        _Measure(
            "Short-term",
            _sounding(view, reading.short_term),
            low,
            short_term_line(goal),
            are.short_term,
            reading.max_short_term,
            wording.SHAPES["hot"],
        ),
        _Measure(
            "Momentary",
            _sounding(view, reading.momentary),
            low,
            momentary_line(goal),
            are.momentary,
            reading.max_momentary,
            wording.SHAPES["hot"],
        ),
    )


def _sounding(view: View, lufs: float) -> float:
    """The level where there is one now: none below the absolute gate, nor after the end of a pass."""
    return lufs if lufs >= SILENT_LUFS and view.snapshot.transport != "ended" else -math.inf


def _measure_rows(measure: _Measure, view: View, scale: GoalScale, width: int, thickness: int) -> list[Row]:
    goal = view.snapshot.goal
    target = goal.target_lufs
    side = measure.side
    shape = (measure.over_shape if side == "over" else "") or wording.SHAPES[side]
    maximum = ""
    if width >= WIDE_FROM and measure.highest is not None:
        maximum = f"  max {wording.bare_level(measure.highest, goal, relative=view.relative)}"
    furthest = None if measure.highest is None else measure.highest - target
    zone = (measure.low - target, measure.high - target)
    offset = measure.lufs - target
    value, tone = "  −−.−", "dim"
    if math.isfinite(offset):
        value, tone = f"{shape} {wording.level(measure.lufs, goal, relative=view.relative)}", f"{side} bold"
    elif view.snapshot.reading.seconds and measure.highest is not None:
        value = "  silent"
    drawn = offset_row(scale, offset, side, zone, furthest=furthest, shape=shape)
    first = _row(width, measure.label, drawn, value, tone, maximum)
    return [first, *([_row(width, "", offset_shade(scale, offset, side), "", tone)] * (thickness - 1))]


def _landing_rows(view: View, scale: GoalScale, width: int, thickness: int) -> list[Row]:
    goal = view.snapshot.goal
    call = chosen(view.snapshot)
    move, target = call.move, goal.target_lufs
    side, ink = landing_side(goal, move), landing_ink(view.snapshot, move)
    likely = (move.landing_low - target, move.landing - target, move.landing_high - target)
    zone = (goal.lowest_lufs - target, goal.highest_lufs - target)
    known = math.isfinite(move.landing)
    shape = wording.SHAPES[side] if known else " "
    value = f"{shape} {wording.level(move.landing, goal, relative=view.relative)}" if known else "  −−.−"
    label = f"Landing, {call.scope}" if width >= _ROOMY_FROM else f"{call.scope.split()[0].title()} landing"
    first = _row(
        width, label, range_row(scale, likely, side, zone, ink), value, f"{ink} bold" if known else "dim"
    )
    return [first, *([_row(width, "", range_shade(scale, likely, ink), "", "dim")] * (thickness - 1))]


def _range_row(view: View, scale: GoalScale, width: int, distribution: Distribution) -> Row:
    """The loudness distribution, and beside it the range that is made of it."""
    goal, reading = view.snapshot.goal, view.snapshot.reading
    drawn = distribution.row(view.history, scale, goal.target_lufs)
    value, tone = range_figure(goal, reading)
    found = [note for _, note in range_notes(goal, reading)]
    notes = " ".join(found) if width >= WIDE_FROM else "".join(found[:1]).strip("()")
    return _row(width, "Range", drawn, f"  {value}", tone, f" {notes}", is_minor=True)


def _peak_rows(view: View, scale: GoalScale, width: int, rows: int) -> list[Row]:
    """True peak against the ceiling: a row a channel, or all in one where there are too many."""
    reading = view.snapshot.reading
    held = reading.held_peak or reading.true_peak
    live = reading.channel_peak if view.snapshot.transport in ("measuring", "paused") else ()
    names = channel_names(view.snapshot.layout, len(held))
    if 1 < len(held) <= rows:
        return [
            _peak_row(view, f"Peak {name}", [(name, peak)], live[k : k + 1], scale, width)
            for k, (name, peak) in enumerate(zip(names, held, strict=True))
        ]
    label = "True peak" if len(held) <= 2 else _live_label(live)
    together = _peak_row(view, label, list(zip(names, held, strict=True)), live, scale, width)
    return [together, *([fit((), width)] * (rows - 1))]


def _live_block(level_dbtp: float) -> str:
    if level_dbtp <= LIVE_FLOOR_DBTP:
        return "·"
    return LOWER[max(1, min(8, 8 - math.floor(level_dbtp / LIVE_FLOOR_DBTP * 8.0)))]


def _live_label(live: tuple[float, ...]) -> str:
    """A block for each channel, as high as it is loud now; a dead one is a dot."""
    blocks = "".join(map(_live_block, live))
    return f"Peak {blocks}" if len(blocks) <= 7 else blocks


def _peak_row(
    view: View,
    label: str,
    peaks: list[tuple[str, float]],
    live: tuple[float, ...],
    scale: GoalScale,
    width: int,
) -> Row:
    ceiling = view.snapshot.goal.ceiling_dbtp
    highest = max((peak for _, peak in peaks), default=-math.inf)
    marks = [(name[0] if len(peaks) <= 2 else "╹", peak - ceiling) for name, peak in peaks]
    over = is_over(highest, ceiling)
    value = f"{wording.plain(abs(ceiling - highest)):>4} dB {'above' if over else 'headroom'}"
    value = f"{'△' if over else ' '} {value}"
    note = f"{wording.plain(highest):>6} dBTP" if width >= WIDE_FROM else ""
    quiet = "plain" if math.isfinite(highest) and len(peaks) > 1 else "dim"
    tone = "paper on ceiling bold" if over else quiet
    return _row(
        width,
        label,
        peaks_row(scale, marks, live, ceiling_dbtp=ceiling, halves="▀▄" if view.half_blocks else "~_"),
        value,
        tone,
        note,
        is_minor=True,
    )
