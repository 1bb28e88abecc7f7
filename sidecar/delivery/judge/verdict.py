"""Judging what was measured against a goal: does it pass, what is wrong and where, and the remedy.

Whether a figure passes follows ``sidecar/loudness/limits.py``, as everywhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sidecar.delivery.judge.findings import Finding, Span, spans_over
from sidecar.delivery.judge.notes import notes
from sidecar.delivery.judge.remedy import Remedy, remedy_findings, remedy_for
from sidecar.delivery.judge.rules import rule_findings
from sidecar.delivery.measure.whole_file import Measured
from sidecar.loudness.limits import find_broken_limits
from sidecar.model.readings import BLOCK_S, MOMENTARY_S, SHORT_TERM_S, SILENCE, FloatArray
from sidecar.model.units import figure
from sidecar.model.verdict import CheckedLimit
from sidecar.settings.goals import Goal


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome for one file and one goal."""

    goal: Goal
    """What the file was held against."""
    findings: tuple[Finding, ...]
    """Faults, the worst first; then the remedies; then notes, which fail nothing."""
    remedy: Remedy | None
    """None where there is no programme to move."""

    @property
    def passes(self) -> bool:
        """True where nothing was found that fails the file. Figures are judged as they are shown, rounded to
        one decimal (Tech 3341 §2.8)."""
        return not any(finding.kind == "fault" for finding in self.findings)

    @property
    def move_db(self) -> float | None:
        """Static gain that corrects the loudness as far as the limits allow; None where there is no
        programme to move, 0 where nothing needs to be done."""
        return None if self.remedy is None else self.remedy.gain_db

    def spans(self, about: str) -> tuple[Span, ...]:
        """The places of the faults about one thing.

        Parameters
        ----------
        about
            ``true peak``, ``short-term``, ``momentary`` …, see :attr:`Finding.about`.

        Returns
        -------
        tuple[Span, ...]
            The worst first; empty where there are none.
        """
        faults = (f for f in self.findings if f.kind == "fault" and f.about == about)
        return tuple(span for fault in faults for span in fault.spans)


def judge(measured: Measured, goal: Goal, more: Sequence[Finding] = ()) -> Verdict:
    """Holds *measured* against *goal*. more: notes on the file that come from elsewhere."""
    reading = measured.reading
    broken = sorted(find_broken_limits(reading, goal), key=_gravity)
    faults = [_fault(limit, measured, goal) for limit in broken]
    remedy = None if reading.integrated == SILENCE else remedy_for(reading, goal)
    off = any(limit.name != "damage" for limit in broken)
    remedies = remedy_findings(reading, goal, remedy) if remedy and off else []
    noted = [_judged_note(note, goal) for note in (*notes(measured, goal), *more)]
    faults += [*rule_findings(measured, goal.delivery)] if goal.delivery else []
    faults += [finding for finding in noted if finding.kind == "fault"]
    rest = (finding for finding in noted if finding.kind != "fault")
    found = (*faults, *remedies, *rest)
    return Verdict(goal, tuple(replace(finding, clock=measured.clock) for finding in found), remedy)


def _judged_note(note: Finding, goal: Goal) -> Finding:
    """As a fault where *goal* refuses a file that has it."""
    fails = goal.delivery is not None and note.about in goal.delivery.failing_notes
    return replace(note, kind="fault") if fails else note


def _gravity(broken: CheckedLimit) -> tuple[bool, float]:
    """What is no sound first, for no figure of it can be relied on; then what is furthest off."""
    return broken.name != "damage", -broken.excess


def findings_by_goal(verdicts: Sequence[Verdict]) -> Iterator[tuple[str, Finding]]:
    """All there is to say of one file, each thing once: the goals' faults and remedies in their order, then
    the notes. With each the names of the goals it holds for; empty where there is one goal, or for a note,
    which is the file's own."""
    goals: dict[Finding, list[str]] = {}
    for verdict in verdicts:
        for finding in verdict.findings:
            goals.setdefault(finding, []).append(verdict.goal.name)
    several = len(verdicts) > 1
    for finding, names in goals.items():
        if finding.kind != "note":
            yield ", ".join(names) if several else "", finding
    failing = {finding.sentence for finding in goals if finding.kind == "fault"}
    notes = (finding for finding in goals if finding.kind == "note")
    yield from (("", note) for note in notes if note.sentence not in failing)


def note_count(verdicts: Sequence[Verdict]) -> int:
    """How many notes there are on a file, each counted once."""
    return sum(finding.kind == "note" for _, finding in findings_by_goal(verdicts))


def _fault(broken: CheckedLimit, measured: Measured, goal: Goal) -> Finding:
    """A broken limit in a sentence, with its places."""
    match broken.name:
        case "damage" | "silent":
            return _unusable(broken)
        case "loud" | "quiet":
            return _loudness(broken, goal)
        case "true peak":
            return _peak(broken, measured, goal)
        case "short-term" | "momentary":
            return _maximum(broken, measured, goal)


def _unusable(broken: CheckedLimit) -> Finding:
    if broken.name == "silent":
        nothing = "Nothing is above the gate at −70 LUFS: it is silent or shorter than 0.4 s."
        return Finding("fault", "loudness", nothing)
    sentence = f"{broken.value:,.0f} samples are no numbers and were measured as silence: "
    return Finding("fault", "damage", sentence + "export the file again.")


def _loudness(broken: CheckedLimit, goal: Goal) -> Finding:
    side = "over the highest" if broken.name == "loud" else "under the lowest"
    sentence = (
        f"Too {broken.name}: {figure(broken.value)} {goal.unit} is {figure(broken.excess)} LU {side} "
        f"that passes, {figure(broken.limit)} {goal.unit}."
    )
    return Finding("fault", "loudness", sentence)


def _peak(broken: CheckedLimit, measured: Measured, goal: Goal) -> Finding:
    sentence = (
        f"True peak {figure(broken.value)} dBTP{_at(measured, measured.max_true_peak_at_s)} is "
        f"{figure(broken.excess)} dB over the ceiling of {figure(broken.limit)} dBTP."
    )
    return Finding("fault", "true peak", sentence, _peak_spans(measured, goal))


def _peak_spans(measured: Measured, goal: Goal) -> tuple[Span, ...]:
    """The worst of each is where its block begins, as everywhere with peaks; the unfinished block at the
    end is no part of the history, and may hold the highest of all."""
    levels = measured.history.true_peak.max(axis=1, initial=SILENCE)
    spans = tuple(
        replace(span, worst_s=span.worst_s - BLOCK_S)
        for span in spans_over(_ends_s(levels), levels, goal.ceiling_dbtp, BLOCK_S)
    )
    peak, at_s = measured.reading.max_true_peak, measured.max_true_peak_at_s or 0.0
    if at_s < levels.size * BLOCK_S - BLOCK_S / 2:
        return spans
    return (Span(at_s, measured.reading.seconds, peak, at_s), *spans)


def _maximum(broken: CheckedLimit, measured: Measured, goal: Goal) -> Finding:
    if broken.name == "short-term":
        window_s, at_s, levels = SHORT_TERM_S, measured.max_short_term_at_s, measured.history.short_term
    else:
        window_s, at_s, levels = MOMENTARY_S, measured.max_momentary_at_s, measured.history.momentary
    sentence = (
        f"{broken.name.capitalize()} reaches {figure(broken.value)} {goal.unit}{_at(measured, at_s)}, the "
        f"end of its {window_s:g} s: {figure(broken.excess)} LU over the limit of {figure(broken.limit)} "
        f"{goal.unit}."
    )
    spans = spans_over(_ends_s(levels), levels, broken.limit, BLOCK_S)
    if not spans and at_s is not None:  # the maximum is kept on a finer grid than the history
        spans = (Span(max(0.0, at_s - BLOCK_S), at_s, broken.value, at_s),)
    return Finding("fault", broken.name, sentence, spans)


def _ends_s(levels: FloatArray) -> FloatArray:
    return (np.arange(levels.size) + 1) * BLOCK_S


def _at(measured: Measured, seconds: float | None) -> str:
    return "" if seconds is None else f" at {measured.clock.words(seconds)}"
