"""Judging what was measured against a goal: does it pass, what is wrong and where, and what mends it.

Figures are judged as they are shown, rounded to one decimal (Tech 3341 §2.8): nobody can be asked
to tell a file that reads −22.8 from another one that does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sidecar.delivery.judge.findings import Finding, Span, spans_over, time_code
from sidecar.delivery.judge.notes import notes
from sidecar.delivery.judge.remedy import Remedy, excess, remedy_findings, remedy_for
from sidecar.delivery.measure.whole_file import Measured
from sidecar.model.readings import BLOCK_S, MOMENTARY_S, SHORT_TERM_S, SILENCE, FloatArray, Reading, figure
from sidecar.settings.goals import Goal


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome for one file and one goal."""

    goal: Goal
    """What the file was held against."""
    findings: tuple[Finding, ...]
    """Faults, the worst first; then what mends them; then notes, which fail nothing."""
    remedy: Remedy | None
    """None where there is no programme to move."""

    @property
    def passes(self) -> bool:
        """True where nothing was found that fails the file. Figures are judged as they are shown, rounded to
        one decimal (Tech 3341 §2.8)."""
        return not any(finding.kind == "fault" for finding in self.findings)

    @property
    def move_db(self) -> float | None:
        """Static gain that mends the loudness as far as the limits allow; None where there is no
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
    damage, noted = tuple(_damage(reading)), (*notes(measured, goal), *more)
    if reading.integrated == SILENCE:
        nothing = "Nothing in it is louder than the gate at −70 LUFS: it is silent or shorter than 0.4 s."
        return Verdict(goal, (*damage, Finding("fault", "loudness", nothing), *noted), None)
    rated = [*_loudness(reading, goal), *_peaks(measured, goal), *_maxima(measured, goal)]
    faults = [fault for _, fault in sorted(rated, key=lambda pair: -pair[0])]
    remedy = remedy_for(reading, goal)
    mending = remedy_findings(reading, goal, remedy) if faults else []
    return Verdict(goal, (*damage, *faults, *mending, *noted), remedy)


def told(verdicts: Sequence[Verdict]) -> Iterator[tuple[str, Finding]]:
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
    yield from (("", finding) for finding in goals if finding.kind == "note")


def note_count(verdicts: Sequence[Verdict]) -> int:
    """How many notes there are on a file, each counted once."""
    return sum(finding.kind == "note" for _, finding in told(verdicts))


Rated = tuple[float, Finding]
"""A fault with its excess in dB or LU, by which the worst is found."""


def _damage(reading: Reading) -> Iterator[Finding]:
    """What is no sound cannot be delivered: each player makes something else of it."""
    if bad := reading.bad_samples:
        sentence = f"{bad:,} samples are not numbers and were measured as silence: export the file again."
        yield Finding("fault", "damage", sentence)


def _loudness(reading: Reading, goal: Goal) -> Iterator[Rated]:
    over = excess(reading.integrated, goal.highest_lufs)
    under = -excess(reading.integrated, goal.lowest_lufs)
    for amount, word, side, limit in (
        (over, "loud", "over the highest", goal.highest_lufs),
        (under, "quiet", "under the lowest", goal.lowest_lufs),
    ):
        if amount > 0:
            sentence = (
                f"Too {word}: {figure(reading.integrated)} {goal.unit} is {figure(amount)} LU {side} "
                f"that passes, {figure(limit)} {goal.unit}."
            )
            yield amount, Finding("fault", "loudness", sentence)


def _peaks(measured: Measured, goal: Goal) -> Iterator[Rated]:
    peak = measured.reading.max_true_peak
    over = excess(peak, goal.ceiling_dbtp)
    if over <= 0:
        return
    sentence = (
        f"True peak {figure(peak)} dBTP{_at(measured.max_true_peak_at_s)} is {figure(over)} dB over the "
        f"ceiling of {figure(goal.ceiling_dbtp)} dBTP."
    )
    yield over, Finding("fault", "true peak", sentence, _peak_spans(measured, goal))


def _peak_spans(measured: Measured, goal: Goal) -> tuple[Span, ...]:
    """The worst of each is where its block begins, as everywhere with peaks; the unfinished block at the
    end is no part of the course, and may hold the highest of all."""
    levels = measured.course.true_peak.max(axis=1, initial=SILENCE)
    spans = tuple(
        replace(span, worst_s=span.worst_s - BLOCK_S)
        for span in spans_over(_ends_s(levels), levels, goal.ceiling_dbtp, BLOCK_S)
    )
    peak, at_s = measured.reading.max_true_peak, measured.max_true_peak_at_s or 0.0
    if at_s < levels.size * BLOCK_S - BLOCK_S / 2:
        return spans
    return (Span(at_s, measured.reading.seconds, peak, at_s), *spans)


def _maxima(measured: Measured, goal: Goal) -> Iterator[Rated]:
    reading, course = measured.reading, measured.course
    short_term = (reading.max_short_term, measured.max_short_term_at_s, course.short_term)
    momentary = (reading.max_momentary, measured.max_momentary_at_s, course.momentary)
    for about, window_s, (value, at_s, levels), limit in (
        ("short-term", SHORT_TERM_S, short_term, goal.max_short_term_lufs),
        ("momentary", MOMENTARY_S, momentary, goal.max_momentary_lufs),
    ):
        over = 0.0 if limit is None else excess(value, limit)
        if limit is None or over <= 0:
            continue
        sentence = (
            f"{about.capitalize()} reaches {figure(value)} {goal.unit}{_at(at_s)}, the end of its "
            f"{window_s:g} s: {figure(over)} LU over the limit of {figure(limit)} {goal.unit}."
        )
        spans = spans_over(_ends_s(levels), levels, limit, BLOCK_S)
        if not spans and at_s is not None:  # the maximum is kept on a finer grid than the course
            spans = (Span(max(0.0, at_s - BLOCK_S), at_s, value, at_s),)
        yield over, Finding("fault", about, sentence, spans)


def _ends_s(levels: FloatArray) -> FloatArray:
    return (np.arange(levels.size) + 1) * BLOCK_S


def _at(seconds: float | None) -> str:
    return "" if seconds is None else f" at {time_code(seconds)}"
