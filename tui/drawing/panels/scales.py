"""All measures under one another: a label, the scale and the number with its unit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sidecar.loudness.limits import is_over
from sidecar.model.headline import chosen
from sidecar.model.readings import Reading
from sidecar.settings.goals import Goal
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone, fit, shortened
from tui.drawing.channels import channel_names
from tui.drawing.panels.advice import landing_stand
from tui.drawing.panels.overs import short_term_line
from tui.drawing.scale import GoalScale, band_row, offset_row, peaks_row, scale_row
from tui.drawing.view import View

_MARGIN = 1
LABEL_WIDTH = 14
VALUE_WIDTH = 15
WIDE_VALUE_WIDTH = 28
WIDE_FROM = 110
"""Columns from which the maxima stand beside the values."""

COMFORT_BELOW_LU = 5.0
"""Listeners' comfort reaches about 5 LU under the target (EBU Tech 3343 §3.5.2): the left edge of
the zone of momentary and short-term, as no programme could hold them within its tolerance."""


@dataclass(frozen=True, slots=True)
class _Measure:
    label: str
    lufs: float
    low: float
    high: float
    highest: float | None = None


def scales(view: View, width: int, height: int, *, thickness: int = 1, peak_rows: int = 1) -> list[Row]:
    """*height* rows: scale, landing, integrated, short-term, momentary, peaks, figures.

    With fewer than seven rows only the most needed ones stay.
    """
    wide = width >= WIDE_FROM
    value_width = WIDE_VALUE_WIDTH if wide else VALUE_WIDTH
    cells = width - LABEL_WIDTH - value_width
    scale = GoalScale(max(1, cells - (1 - cells % 2)), view.reach_lu)
    integrated, short_term, momentary = (
        _measure_rows(measure, view, scale, width, rows)
        for measure, rows in zip(_measures(view), (thickness, 1, 1), strict=True)
    )
    peaks = _peak_rows(view, scale, width, peak_rows)
    figures = [figures_row(view, width, peaks_apart=peak_rows > 1)]
    if height < 7:
        essential = [*integrated, *peaks, *short_term, *momentary, *figures]
        return _exactly(essential, width, height)
    label = wording.not_ebu_mode(view.snapshot.goal)
    graduation = _row(width, label, scale_row(scale), "◁under over▷", "faint")
    landing = _landing_rows(view, scale, width, thickness)
    return _exactly(
        [graduation, *landing, *integrated, *short_term, *momentary, *peaks, *figures], width, height
    )


def _exactly(rows: list[Row], width: int, height: int) -> list[Row]:
    return [*rows, *([fit((), width)] * (height - len(rows)))][:height]


def _row(width: int, label: str, drawn: Row, value: str, tone: Tone, note: str = "") -> Row:
    """A label, the scale, the value, and quietly what goes with it."""
    cells = Cells(width)
    cells.put(_MARGIN, shortened(label, LABEL_WIDTH - _MARGIN - 1), "dim")
    cells.put_row(LABEL_WIDTH, drawn)
    x = LABEL_WIDTH + sum(len(text) for text, _ in drawn) + 1
    cells.put(x, value, tone)
    cells.put(x + len(value), note, "dim")
    return cells.row()


def _measures(view: View) -> tuple[_Measure, _Measure, _Measure]:
    reading, goal = view.snapshot.reading, view.snapshot.goal
    low = goal.target_lufs - COMFORT_BELOW_LU
    return (
        _Measure("Integrated", reading.integrated, goal.lowest_lufs, goal.highest_lufs),
        _Measure("Short-term", reading.short_term, low, short_term_line(goal), reading.max_short_term),
        _Measure("Momentary", reading.momentary, low, momentary_line(goal), reading.max_momentary),
    )


def momentary_line(goal: Goal) -> float:
    """LUFS above which momentary is over: the document's limit, else the hot line."""
    return goal.hot_lufs if goal.max_momentary_lufs is None else goal.max_momentary_lufs


def _measure_rows(measure: _Measure, view: View, scale: GoalScale, width: int, thickness: int) -> list[Row]:
    goal = view.snapshot.goal
    target = goal.target_lufs
    stand = wording.stand(measure.lufs, measure.low, measure.high)
    shape = wording.SHAPES[stand] if math.isfinite(measure.lufs) else " "
    value = f"{shape} {wording.level(measure.lufs, goal, relative=view.relative)}"
    maximum = ""
    if width >= WIDE_FROM and measure.highest is not None:
        maximum = f"  max {wording.bare_level(measure.highest, goal, relative=view.relative)}"
    furthest = None if measure.highest is None else measure.highest - target
    zone = (measure.low - target, measure.high - target)
    lines = [
        offset_row(scale, measure.lufs - target, stand, zone, furthest=furthest, marked=line == 0)
        for line in range(thickness)
    ]
    tone = f"{stand} bold" if math.isfinite(measure.lufs) else "dim"
    first = _row(width, measure.label, lines[0], value, tone, maximum)
    return [first, *(_row(width, "", line, "", tone) for line in lines[1:])]


def _landing_rows(view: View, scale: GoalScale, width: int, thickness: int) -> list[Row]:
    goal = view.snapshot.goal
    move = chosen(view.snapshot).move
    target = goal.target_lufs
    stand = landing_stand(goal, move)
    band = (move.landing_low - target, move.landing - target, move.landing_high - target)
    zone = (goal.lowest_lufs - target, goal.highest_lufs - target)
    drawn, *more = (band_row(scale, band, stand, zone, marked=line == 0) for line in range(thickness))
    known = math.isfinite(move.landing)
    shape = wording.SHAPES[stand] if known else " "
    value = f"{shape} {wording.level(move.landing, goal, relative=view.relative)}"
    tone = f"{stand} bold" if known else "dim"
    first = _row(width, "Landing", drawn, value, tone)
    return [first, *(_row(width, "", line, "", tone) for line in more)]


def _peak_rows(view: View, scale: GoalScale, width: int, rows: int) -> list[Row]:
    """True peak against the ceiling: a row a channel, or all in one where there are too many."""
    reading, goal = view.snapshot.reading, view.snapshot.goal
    peaks = list(
        zip(channel_names(view.snapshot.layout, len(reading.true_peak)), reading.true_peak, strict=True)
    )
    if 1 < len(peaks) <= rows:
        return [_peak_row(f"Peak {name}", [(name, peak)], peak, goal, scale, width) for name, peak in peaks]
    together = _peak_row("True peak", peaks, reading.max_true_peak, goal, scale, width)
    return [together, *([fit((), width)] * (rows - 1))]


def _peak_row(
    label: str, peaks: list[tuple[str, float]], highest: float, goal: Goal, scale: GoalScale, width: int
) -> Row:
    marks = [(name[0] if len(peaks) <= 2 else "╹", peak - goal.ceiling_dbtp) for name, peak in peaks]
    headroom = goal.ceiling_dbtp - highest
    over = is_over(highest, goal.ceiling_dbtp)
    value = f"{wording.plain(abs(headroom)):>4} dB {'OVER' if over else 'free'}"
    level = f"  {wording.plain(highest)} dBTP" if width >= WIDE_FROM else ""
    value = f"{'△' if over else ' '} {value}"
    tone = "paper on ceiling bold" if over else "plain" if math.isfinite(highest) else "dim"
    return _row(width, label, peaks_row(scale, marks), value, tone, level)


def figures_row(view: View, width: int, *, peaks_apart: bool) -> Row:
    """Loudness range with its guide, and what no scale has a number for: maxima, peaks, their ratio."""
    goal, reading = view.snapshot.goal, view.snapshot.reading
    cells = Cells(width, tone="dim")
    cells.put(_MARGIN, "Range", "dim")
    text = f"{wording.plain(reading.loudness_range)} LU"
    guided = goal.range_guide_lu is not None and reading.loudness_range > goal.range_guide_lu
    cells.put(LABEL_WIDTH, text, "over bold" if guided and reading.range_is_stable else "dim")
    notes = [_range_note(goal, reading), _maxima(view, width)]
    has_peaks = peaks_apart and width >= WIDE_FROM
    notes.append(_crest(reading) if has_peaks else _peak_figures(view, width))
    rest = "".join(notes)
    cells.put(LABEL_WIDTH + len(text), shortened(rest, width - LABEL_WIDTH - len(text)), "dim")
    return cells.row()


def _range_note(goal: Goal, reading: Reading) -> str:
    """The guide, and that the range is not stable in its first minute (EBU Tech 3341 §2.4)."""
    notes = [] if reading.range_is_stable else ["settling"]
    if goal.range_guide_lu is not None:
        notes.append(f"guide {goal.range_guide_lu:g}")
    return f" ({', '.join(notes)})" if notes else ""


def _maxima(view: View, width: int) -> str:
    if width >= WIDE_FROM:
        return ""
    goal, reading = view.snapshot.goal, view.snapshot.reading
    momentary, short_term = (
        wording.bare_level(value, goal, relative=view.relative)
        for value in (reading.max_momentary, reading.max_short_term)
    )
    return f"  max M {momentary} S {short_term}"


def _peak_figures(view: View, width: int) -> str:
    """True peak in dBTP: of each channel where two fit, else the highest."""
    reading = view.snapshot.reading
    names = channel_names(view.snapshot.layout, len(reading.true_peak))
    figures = [f"{name} {wording.plain(peak)}" for name, peak in zip(names, reading.true_peak, strict=True)]
    if len(figures) <= 2 or width >= WIDE_FROM:
        return f"  TP {' '.join(figures)} dBTP" if figures else ""
    return f"  TP {wording.plain(reading.max_true_peak)} dBTP"


def _crest(reading: Reading) -> str:
    """Sample peak, and the peak-to-loudness ratio (maximum true peak less integrated loudness)."""
    ratio = reading.max_true_peak - reading.integrated if math.isfinite(reading.integrated) else -math.inf
    return (
        f"  sample peak {wording.plain(reading.sample_peak)} dBFS  peak to loudness {wording.plain(ratio)} LU"
    )
