"""The table of a report: each measure, what it is compared with, and its place on the scale."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sidecar.delivery.judge.verdict import Verdict
from sidecar.delivery.measure.dialogue import FileDialogue
from sidecar.delivery.measure.whole_file import Measured
from sidecar.delivery.report.markup import Markup, join, tag
from sidecar.delivery.report.scales_sheet import scale_sheet
from sidecar.delivery.report.sheet import SHAPES, Shape
from sidecar.loudness.limits import excess, is_over, is_under
from sidecar.model.readings import MOMENTARY_S, SHORT_TERM_S, SILENCE, Reading
from sidecar.model.units import figure, percent, window_figure
from sidecar.settings.goals import Goal


@dataclass(frozen=True, slots=True)
class _Row:
    measure: str
    value: float
    unit: str
    at_s: float | None = None
    middle: float | None = None
    """The limit or target it is compared with; None for a value without one."""
    below: float = math.inf
    """How far under the middle still passes."""
    above: float = 0.0
    over: Shape = "over"
    remark: str = ""
    """What is to be known of a measure that is held against nothing."""
    window_s: float = 0.0
    """What is shorter has no such measure."""


def figures_table(
    measured: Measured,
    verdict: Verdict,
    name: str,
    dialogue: Sequence[FileDialogue] = (),
    *,
    judged_only: bool,
) -> Markup:
    """One goal's table. name: unique in the page. dialogue: where it was measured. judged_only: leaves out
    what has no limit."""
    goal = verdict.goal
    head = [
        tag("th", words, scope="col", class_=look)
        for words, look in (
            ("measure", ""),
            ("reads", "number"),
            ("", ""),
            ("at", "number"),
            ("held against", "number"),
            ("under ◁ · ◇ · ▷ over", "scale"),
            ("result", ""),
        )
    ]
    every = (*_rows(measured, goal), *_dialogue_rows(dialogue, goal))
    shown = [row for row in every if not judged_only or row.middle is not None]
    rows = [_cells(row, measured, f"{name}-{row.measure.replace(' ', '-')}") for row in shown]
    return tag(
        "section",
        tag("h2", f"Against {goal.title}"),
        tag("table", tag("thead", tag("tr", *head)), tag("tbody", *rows), class_="figures"),
        class_="whole",
    )


def _rows(measured: Measured, goal: Goal) -> list[_Row]:
    reading, unit = measured.reading, goal.unit
    return [
        _Row(
            "integrated",
            reading.integrated,
            unit,
            None,
            goal.target_lufs,
            goal.tolerance_below_lu,
            goal.tolerance_above_lu,
        ),
        _Row(
            "highest true peak",
            reading.max_true_peak,
            "dBTP",
            measured.max_true_peak_at_s,
            goal.ceiling_dbtp,
            over="ceiling",
        ),
        _Row(
            "max short-term",
            reading.max_short_term,
            unit,
            measured.max_short_term_at_s,
            goal.max_short_term_lufs,
            window_s=SHORT_TERM_S,
        ),
        _Row(
            "max momentary",
            reading.max_momentary,
            unit,
            measured.max_momentary_at_s,
            goal.max_momentary_lufs,
            window_s=MOMENTARY_S,
        ),
        _Row("loudness range", reading.loudness_range, "LU", remark=_settled(reading), window_s=SHORT_TERM_S),
        _Row("PLR (peak to loudness ratio)", measured.peak_to_loudness_lu, "LU"),
    ]


def _dialogue_rows(dialogue: Sequence[FileDialogue], goal: Goal) -> Iterator[_Row]:
    for loudness in (each.loudness for each in dialogue):
        by_hand = loudness.found_by == "markers"
        remark = "by cue markers" if by_hand else f"automatic, confidence {percent(loudness.confidence)}"
        if not loudness.is_sure:
            remark += ", low"
        if not loudness.is_measured:
            remark = "too little speech found"
        yield _Row("dialogue loudness", loudness.dialogue_lufs, goal.unit, remark=remark)
        yield _Row("LDR (programme less dialogue)", loudness.ldr_lu, "LU")


def _settled(reading: Reading) -> str:
    """Tech 3341 §2.4 flags the range of the first minute; R 128 V5 n) advises against it."""
    if reading.seconds < SHORT_TERM_S:
        return f"shorter than {SHORT_TERM_S:g} s"
    return "" if reading.range_is_stable else "under 1 minute: not settled"


def _cells(row: _Row, measured: Measured, name: str) -> Markup:
    seconds = measured.reading.seconds
    at = "" if row.at_s is None else measured.clock.words(row.at_s)
    held, scale, words = "", join(), row.remark
    if row.middle is not None:
        held = figure(row.middle)
        shape, words = _side(row, row.middle, seconds)
        if math.isfinite(row.value):
            zone = (-row.below, row.above)
            scale = scale_sheet(name, excess(row.value, row.middle), zone, shape).svg()
    return tag(
        "tr",
        tag("th", row.measure, scope="row"),
        tag("td", window_figure(row.value, row.window_s, seconds), class_="number value"),
        tag("td", row.unit),
        tag("td", at, class_="number"),
        tag("td", held, class_="number"),
        tag("td", scale, class_="scale"),
        tag("td", words, class_="side"),
    )


def _side(row: _Row, middle: float, seconds: float) -> tuple[Shape, str]:
    """The shape and the words for its side."""
    if seconds < row.window_s:
        return "under", f"shorter than {row.window_s:g} s"
    if row.value == SILENCE:
        return "under", "silent"
    highest, lowest = middle + row.above, middle - row.below
    if is_over(row.value, highest):
        return row.over, f"{SHAPES[row.over]} {figure(excess(row.value, highest))} {_span(row)} too high"
    if is_under(row.value, lowest):
        return "under", f"{SHAPES['under']} {figure(-excess(row.value, lowest))} {_span(row)} too low"
    return "inside", f"{SHAPES['inside']} passes"


def _span(row: _Row) -> str:
    """The unit of a difference."""
    return "dB" if row.unit == "dBTP" else "LU"
