"""The figures that no scale has: range, peak to loudness ratios, maxima, peaks, correlation."""

from __future__ import annotations

import math

from sidecar.loudness import dialogue_guides
from sidecar.loudness.limits import Side
from sidecar.model.dialogue import LEAST_SPEECH_S, DialogueLoudness
from sidecar.model.readings import MONO_LOSS_LIMIT_DB, Reading
from sidecar.settings.goals import Goal
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone, width_of
from tui.drawing.channels import channel_names
from tui.drawing.scale import GoalScale
from tui.drawing.view import View

_Part = tuple[int, Row]
"""A rank, the first of which goes last, and what is written."""


def figures_row(
    view: View, width: int, *, has_range_row: bool, has_correlation_row: bool, has_dialogue_row: bool = False
) -> Row:
    """As many figures as fit, in a fixed order; what a row of its own shows is left out."""
    goal, reading = view.snapshot.goal, view.snapshot.reading
    parts: list[_Part] = []
    if not has_range_row:
        parts += [(0, (("Range ", "faint"), range_figure(goal, reading)))]
        parts += [(note_rank, ((note, "faint"),)) for note_rank, note in range_notes(goal, reading)]
    if view.snapshot.dialogue is not None and not has_dialogue_row:
        parts += [(0, dialogue_figures(view, view.snapshot.dialogue))]
    parts += [(1, ((_ratios(reading), "faint"),)), (3, ((_maxima(view), "faint"),))]
    parts += [(2, ((_true_peak(view), "faint"),))]
    is_live = view.snapshot.transport != "ended"
    if is_live and not has_correlation_row and (row := correlation_figure(reading)):
        parts += [(0 if cancels_in_mono(reading) else 4, row)]
    parts += [(5, ((f"sample peak {wording.plain(reading.sample_peak)} dBFS", "faint"),))]
    return _fitted(parts, width)


def dialogue_row(view: View, width: int) -> Row:
    """Dialogue loudness and LDR with their guides, the share of time with dialogue, and how it is known."""
    dialogue, goal = view.snapshot.dialogue, view.snapshot.goal
    if dialogue is None:
        return ()
    parts: list[_Part] = [(0, dialogue_figures(view, dialogue))]
    zero_lufs = goal.target_lufs if view.relative else 0.0
    loudness_guide = dialogue_guides.loudness_guide(goal, zero_lufs)
    guides = loudness_guide, dialogue_guides.ldr_guide(goal).replace("guide", "LDR")
    if notes := ", ".join(filter(None, guides)):
        parts += [(3, ((f"({notes})", "faint"),))]
    parts += [(1, ((dialogue_guides.share(dialogue), "faint"),))]
    parts += [(2, ((dialogue_guides.origin(dialogue), "faint"),))]
    return _fitted(parts, width)


def dialogue_figures(view: View, dialogue: DialogueLoudness) -> Row:
    """Dialogue loudness and LDR, in the ink of their side of the goal's guides."""
    goal = view.snapshot.goal
    label = "Dialogue, marked now " if view.snapshot.is_dialogue_marked else "Dialogue "
    if not dialogue.is_measured:
        return ((label, "faint"), (f"−−.− (under {LEAST_SPEECH_S:g} s of it)", "faint"))
    level = wording.level(dialogue.dialogue_lufs, goal, relative=view.relative)
    return (
        (label, "faint"),
        _beside_guide(level, dialogue_guides.loudness_side(dialogue, goal)),
        (" LDR ", "faint"),
        _beside_guide(f"{wording.plain(dialogue.ldr_lu)} LU", dialogue_guides.ldr_side(dialogue, goal)),
    )


def _beside_guide(text: str, side: Side | None) -> tuple[str, Tone]:
    if side is None or side == "inside":
        return text, "dim"
    return f"{wording.SHAPES[side]} {text}", f"{side} bold"


def _fitted(parts: list[_Part], width: int) -> Row:
    """The parts beside one another; those of the last rank are left out until the others fit."""
    while parts and _width_of(parts) > width:
        parts.remove(max(reversed(parts), key=lambda part: part[0]))
    cells, x = Cells(width), 1
    for _, row in parts:
        x += 0 if x == 1 else _gap(row)
        cells.put_row(x, row)
        x += width_of(row)
    return cells.row()


def _gap(row: Row) -> int:
    """Cells before a part; what is in brackets belongs to the part before."""
    return 1 if row[0][0].startswith("(") else 2


def _width_of(parts: list[_Part]) -> int:
    return 1 + sum(width_of(row) + _gap(row) for _, row in parts) - 2


def range_figure(goal: Goal, reading: Reading) -> tuple[str, Tone]:
    """The loudness range; beyond its guide only once it is stable."""
    guided = goal.range_guide_lu is not None and reading.loudness_range > goal.range_guide_lu
    tone = "over bold" if guided and reading.range_is_stable else "dim"
    return f"{wording.plain(reading.loudness_range)} LU", tone


def range_notes(goal: Goal, reading: Reading) -> list[tuple[int, str]]:
    """That the range is not stable in its first minute (EBU Tech 3341 §2.4), and its guide, each with its
    rank."""
    notes = [] if reading.range_is_stable else [(0, "(settling)")]
    return notes if goal.range_guide_lu is None else [*notes, (4, f"(guide {goal.range_guide_lu:g})")]


def _ratios(reading: Reading) -> str:
    return f"PLR {wording.plain(reading.plr_lu)} PSR {wording.plain(reading.psr_lu)}"


def _maxima(view: View) -> str:
    goal, reading = view.snapshot.goal, view.snapshot.reading
    momentary, short_term = (
        wording.bare_level(value, goal, relative=view.relative)
        for value in (reading.max_momentary, reading.max_short_term)
    )
    return f"max M {momentary} S {short_term}"


def _true_peak(view: View) -> str:
    """The programme's highest true peak in dBTP, which a reset of the peaks leaves as it is."""
    return f"TP {wording.plain(view.snapshot.reading.max_true_peak)} dBTP"


def cancels_in_mono(reading: Reading) -> bool:
    """True where the mono sum loses more than unrelated channels would."""
    return reading.mono_loss_db > MONO_LOSS_LIMIT_DB + 0.05


def correlation_figure(reading: Reading) -> Row:
    """Correlation in figures, or what mono loses where the channels cancel; nothing where there is none."""
    if cancels_in_mono(reading):
        return ((mono_text(reading), "over bold"),)
    if reading.correlation is None:
        return ()
    return ((f"corr {_hundredths(reading.correlation)}", "faint"),)


def mono_text(reading: Reading) -> str:
    """The warning that the mono sum cancels, with what it loses."""
    loss = "−∞" if math.isinf(reading.mono_loss_db) else wording.plain(-reading.mono_loss_db)
    return f"MONO {loss} dB"


def correlation_row(view: View, scale: GoalScale) -> tuple[str, Row, str, Tone]:
    """Label, scale from −1 to +1, figure and its ink of the correlation of the first two channels."""
    reading = view.snapshot.reading
    names = channel_names(view.snapshot.layout, len(reading.true_peak))[:2]
    value, warns = reading.correlation, cancels_in_mono(reading)
    if view.snapshot.transport == "ended":  # it is of the last second, as short-term is of the last three
        value, warns = None, False
    cells = Cells(scale.width, "─", "track")
    ink = "over" if warns else "level"
    for x, mark in ((0, "−1"), (scale.middle, "┼"), (scale.width - 2, "+1")):
        cells.put(x, mark, "faint")
    if value is not None:
        cells.put(scale.middle + round(value * scale.middle), "█", ink)
    figure = "−−.−−" if value is None else _hundredths(value)
    text = f"  {mono_text(reading) if warns else figure}"
    tone = "over bold" if warns else "dim"
    return f"Corr. {'/'.join(names)}", cells.row(), text, tone


def _hundredths(value: float) -> str:
    return f"{value:+.2f}".replace("-", "−")
