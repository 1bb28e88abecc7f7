"""The history of a programme against its goal: short-term, momentary, where it landed, where it is over."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from sidecar.delivery.judge.findings import LISTED
from sidecar.delivery.judge.verdict import Verdict
from sidecar.delivery.measure.dialogue import FileDialogue
from sidecar.delivery.measure.whole_file import Measured
from sidecar.delivery.report.sheet import Point, Scale, Sheet
from sidecar.model.readings import BLOCK_S, MOMENTARY_S, SHORT_TERM_S, FloatArray
from sidecar.model.timecode import time_code
from sidecar.model.units import figure, window_figure
from sidecar.settings.goals import Goal

_WIDTH, _HEIGHT = 860.0, 360.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 790.0, 54.0, 300.0
_LEGEND_Y = 346.0
_COLUMNS = 369
"""Two units wide each: finer cannot be seen."""
_ABOVE_LU, _BELOW_LU = 9.0, 24.0
"""Around the target; 9 LU is the top of the usual scale of EBU Tech 3341 §2.7."""
_TIME_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 43200)
_NARROWEST = 1.5
_MARKS = 40
"""Ours: more marks of one kind than this cannot be distinguished."""


@dataclass(frozen=True, slots=True)
class _Field:
    """Where time and loudness lie on the sheet."""

    time: Scale
    level: Scale

    def point(self, seconds: float, lufs: float) -> Point:
        return self.time.at(seconds), self.level.at(lufs)


def history_sheet(
    measured: Measured, verdict: Verdict, heading: str = "", dialogue: Sequence[FileDialogue] = ()
) -> Sheet:
    """The drawing, 860 by 360 units. heading: for a drawing of its own. dialogue: where it was
    measured."""
    goal = verdict.goal
    words = _description(measured, goal, verdict)
    sheet = Sheet("history", (_WIDTH, _HEIGHT), "The history of the programme", words)
    field = _field(measured, goal)
    sheet.text((_LEFT, 16), heading, "strong")
    _draw_goal(sheet, field, goal, measured.clock.start_s)
    _draw_over(sheet, field, verdict)
    _draw_levels(sheet, field, measured)
    _draw_dialogue(sheet, field, dialogue)
    _draw_limits(sheet, field, verdict)
    _draw_landing(sheet, field, measured, goal)
    _draw_peaks(sheet, field, measured, verdict)
    _draw_legend(sheet, measured, verdict, dialogue)
    return sheet


def _field(measured: Measured, goal: Goal) -> _Field:
    loudest = _finite(measured.reading.max_momentary, goal.target_lufs)
    highest = max(goal.target_lufs + _ABOVE_LU, math.ceil(loudest + 1.0))
    lowest = min(goal.target_lufs - _BELOW_LU, _finite(measured.reading.integrated, goal.target_lufs) - 12.0)
    seconds = max(1.0, measured.reading.seconds)
    return _Field(Scale(0.0, seconds, _LEFT, _RIGHT), Scale(math.floor(lowest), highest, _BOTTOM, _TOP))


def _draw_goal(sheet: Sheet, field: _Field, goal: Goal, start_s: float) -> None:
    """The band that passes, the grid and its figures, the target."""
    lowest = field.level.at(max(field.level.low, goal.lowest_lufs))
    sheet.box((_LEFT, lowest), (_RIGHT, field.level.at(goal.highest_lufs)), "pass-zone")
    for lufs in field.level.ticks(9, (3, 6, 12)):
        y = field.level.at(lufs)
        sheet.line([(_LEFT, y), (_RIGHT, y)], "grid")
        if abs(lufs - goal.target_lufs) > 1.0:
            sheet.text((_LEFT - 6, y + 4), figure(lufs).removesuffix(".0"), "end")
    for seconds in field.time.ticks(9, _TIME_STEPS_S):
        x = field.time.at(seconds)
        sheet.line([(x, _TOP), (x, _BOTTOM)], "grid")
        sheet.text((x, _BOTTOM + 17), time_code(seconds + start_s)[:-2], "middle")
    y = field.level.at(goal.target_lufs)
    sheet.line([(_LEFT, y), (_RIGHT, y)], "target")
    sheet.text((_LEFT - 6, y + 4), figure(goal.target_lufs), "end strong")
    sheet.text((_LEFT - 6, _TOP - 10), goal.unit, "end")


def _draw_over(sheet: Sheet, field: _Field, verdict: Verdict) -> None:
    """Where short-term or momentary is over its limit, behind everything."""
    spans = (*verdict.spans("short-term"), *verdict.spans("momentary"))
    for start, end in _stretches(field, [(span.start_s, span.end_s) for span in spans]):
        sheet.box((start, _TOP), (end, _BOTTOM), "over-span")


def _draw_limits(sheet: Sheet, field: _Field, verdict: Verdict) -> None:
    """The limits of short-term and momentary, and the worst places over them."""
    goal = verdict.goal
    limits = (("S", "short-term", goal.max_short_term_lufs), ("M", "momentary", goal.max_momentary_lufs))
    for letter, about, limit in limits:
        if limit is None:
            continue
        y = field.level.at(limit)
        sheet.line([(_LEFT, y), (_RIGHT, y)], "limit")
        sheet.text((_LEFT + 5, y - 5), f"max {letter} {figure(limit)}", "over-words halo")
        for span in verdict.spans(about)[:LISTED]:
            sheet.mark(field.point(span.worst_s, span.worst), "over")


def _draw_levels(sheet: Sheet, field: _Field, measured: Measured) -> None:
    history = measured.history
    highs, lows, at_s = _columns(history.momentary)
    upper = [field.point(second, level) for second, level in zip(at_s, highs, strict=True)]
    lower = [field.point(second, level) for second, level in zip(at_s, lows, strict=True)]
    sheet.area(upper + lower[::-1], "momentary")
    highs, lows, at_s = _columns(history.short_term)
    path = []
    for second, high, low in zip(at_s, highs, lows, strict=True):
        path.append(field.point(second, high))
        if high - low > 0.2:
            path.append(field.point(second, low))
    sheet.line(path, "short-term")
    silences = [(silence.start_s, silence.start_s + silence.length_s) for silence in measured.facts.silences]
    for start, end in _stretches(field, silences):
        sheet.box((start, _BOTTOM - 5), (end, _BOTTOM), "silent-span")
    sheet.box((_LEFT, _TOP), (_RIGHT, _BOTTOM), "frame")


def _draw_dialogue(sheet: Sheet, field: _Field, dialogue: Sequence[FileDialogue]) -> None:
    """A strip over the foot, above that of silences, and under the levels."""
    spans = [span for each in dialogue for span in each.spans_s]
    for start, end in _stretches(field, spans):
        sheet.box((start, _BOTTOM - 11), (end, _BOTTOM - 6), "speech-span")


def _draw_landing(sheet: Sheet, field: _Field, measured: Measured, goal: Goal) -> None:
    integrated = measured.reading.integrated
    if math.isfinite(integrated):
        y = field.level.at(integrated)
        sheet.line([(_LEFT, y), (_RIGHT, y)], "integrated")
        sheet.text((_RIGHT + 6, y - 1), f"I {figure(integrated)}", "strong")
        sheet.text((_RIGHT + 6, y + 12), goal.unit, "")


def _draw_peaks(sheet: Sheet, field: _Field, measured: Measured, verdict: Verdict) -> None:
    """Over the frame: each place over the ceiling, and the highest true peak wherever it is."""
    y = _TOP - 12
    over = verdict.spans("true peak")
    for start, end in _stretches(field, [(span.start_s, span.end_s) for span in over]):
        sheet.box((start, _TOP - 3), (end, _TOP), "peak-span")
    for span in over[:_MARKS]:
        sheet.mark((field.time.at(span.worst_s), y), "ceiling")
    highest = measured.reading.max_true_peak
    if measured.max_true_peak_at_s is None:
        return
    x = field.time.at(measured.max_true_peak_at_s)
    if not over:
        sheet.mark((x, y), "inside")
    sheet.line([(x, y + 6), (x, _TOP)], "lead")
    edge = "end" if x > (_LEFT + _RIGHT) / 2 else "start"
    sheet.text((x + (-10 if edge == "end" else 10), y - 8), f"highest true peak {figure(highest)} dBTP", edge)


def _draw_legend(
    sheet: Sheet, measured: Measured, verdict: Verdict, dialogue: Sequence[FileDialogue]
) -> None:
    """Only what is drawn."""
    x, y = _LEFT, _LEGEND_Y
    over = verdict.spans("short-term") or verdict.spans("momentary")
    for look, words, drawn in (
        ("short-term", "short-term, 3 s", True),
        ("momentary", "momentary, 0.4 s", True),
        ("integrated", "integrated", True),
        ("pass-zone", f"passes {verdict.goal.name}", True),
        ("over-span", "over a limit", bool(over)),
        ("silent-span", "digital silence", bool(measured.facts.silences)),
        ("speech-span", "dialogue", any(each.spans for each in dialogue)),
    ):
        if not drawn:
            continue
        if look in ("short-term", "integrated"):
            sheet.line([(x, y - 4), (x + 20, y - 4)], look)
        else:
            sheet.box((x, y - 9), (x + 20, y + 1), look)
        sheet.text((x + 26, y), words, "")
        x += 38 + 6.9 * len(words)


def _description(measured: Measured, goal: Goal, verdict: Verdict) -> str:
    reading = measured.reading
    over = len(verdict.spans("true peak"))
    short_term = window_figure(reading.max_short_term, SHORT_TERM_S, reading.seconds)
    momentary = window_figure(reading.max_momentary, MOMENTARY_S, reading.seconds)
    return (
        f"Over {time_code(reading.seconds)} the short-term loudness reaches {short_term} "
        f"{goal.unit} and the momentary loudness {momentary} {goal.unit}. The integrated "
        f"loudness is {figure(reading.integrated)} {goal.unit}; the goal is {figure(goal.target_lufs)}. "
        f"True peaks are over the ceiling in {over} {'place' if over == 1 else 'places'}."
    )


def _stretches(field: _Field, times_s: Iterable[tuple[float, float]]) -> list[Point]:
    """From where to where on the sheet: wide enough to be seen, one where they touch, so that their number
    does not grow with the programme."""
    drawn: list[Point] = []
    for start_s, end_s in sorted(times_s):
        start = field.time.at(start_s)
        end = max(field.time.at(end_s), start + _NARROWEST)
        if drawn and start <= drawn[-1][1]:
            start, end = drawn[-1][0], max(end, drawn.pop()[1])
        drawn.append((start, end))
    return drawn


def _columns(levels: FloatArray) -> tuple[list[float], list[float], list[float]]:
    """Highest, lowest and time of each column, of levels at 10 a second."""
    if not levels.size:
        return [], [], []
    starts = np.linspace(0, levels.size, min(_COLUMNS, levels.size), endpoint=False).astype(int)
    return (
        np.maximum.reduceat(levels, starts).tolist(),
        np.minimum.reduceat(levels, starts).tolist(),
        ((starts + 1) * BLOCK_S).tolist(),
    )


def _finite(value: float, otherwise: float) -> float:
    return value if math.isfinite(value) else otherwise
