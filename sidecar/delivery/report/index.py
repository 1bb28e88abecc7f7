"""The index of a report of several files."""

from __future__ import annotations

import os
from collections.abc import Sequence
from urllib.parse import quote

from sidecar.delivery.distinct_names import distinct_names
from sidecar.delivery.judge.checking import Checked, Outcome, Unread
from sidecar.delivery.judge.findings import MARKS
from sidecar.delivery.judge.remedy import gain_figure
from sidecar.delivery.judge.verdict import Verdict, note_count
from sidecar.delivery.report.markup import Markup, tag
from sidecar.delivery.report.page import CAUTIONS, goal_words, page
from sidecar.delivery.report.signature import Signature
from sidecar.model.readings import SHORT_TERM_S
from sidecar.model.timecode import time_code
from sidecar.model.units import figure, window_figure
from sidecar.settings.goals import Goal


def index_page(
    files: Sequence[Outcome],
    links: Sequence[str],
    goals: Sequence[Goal],
    signature: Signature,
    unlisted: int = 0,
) -> str:
    """The page. links: where each file's own page lies, relative to this one; one a file. unlisted: files
    besides, which meet every goal."""
    passed = unlisted + sum(isinstance(outcome, Checked) and outcome.passes for outcome in files)
    unread = sum(isinstance(outcome, Unread) for outcome in files)
    measured = f"measured {signature.when}" + (f" by {signature.by}" if signature.by else "")
    said = f"{passed} of {len(files) + unlisted} {'meets' if passed == 1 else 'meet'} every goal"
    if unread:
        said += f"; {unread} could not be read"
    left_out = [tag("p", "Files that meet each goal are not listed.")] if unlisted else []
    return page(
        "Delivery check",
        tag(
            "header",
            tag("p", f"{signature.program} · delivery check"),
            tag("h1", said),
            tag("p", measured),
            *left_out,
        ),
        tag("section", *(tag("p", _goal(goal)) for goal in goals)),
        tag("section", _table(files, links, goals)),
        tag("section", tag("p", CAUTIONS), class_="cautions"),
    )


def _goal(goal: Goal) -> Markup:
    return tag("span", tag("b", goal.title), f" ({goal.name}): {goal_words(goal)} Source: {goal.source}.")


def _table(files: Sequence[Outcome], links: Sequence[str], goals: Sequence[Goal]) -> Markup:
    unit = goals[0].unit
    heads = ("length", f"integrated, {unit}", "range, LU", f"max S, {unit}", "true peak, dBTP")
    head = tag(
        "tr",
        tag("th", "file", scope="col"),
        *(tag("th", goal.name, scope="col") for goal in goals),
        *(tag("th", words, scope="col", class_="number") for words in heads),
    )
    names = distinct_names([outcome.file for outcome in files])
    rows = [
        _row(outcome, name, link, len(goals)) for outcome, name, link in zip(files, names, links, strict=True)
    ]
    return tag("table", tag("thead", head), tag("tbody", *rows), class_="index")


_MEASURES = ("length", "integrated", "range", "max S", "true peak")
"""What each figure is, where a narrow page has no head above it; a verdict has the goal's name."""


def _row(outcome: Outcome, name: str, link: str, goals: int) -> Markup:
    if isinstance(outcome, Unread):
        error = tag("td", f"? could not be read: {outcome.error}", colspan=str(5 + goals))
        return tag("tr", tag("th", name, scope="row"), error)
    reading = outcome.measured.reading
    figures = (
        time_code(reading.seconds),
        figure(reading.integrated),
        window_figure(reading.loudness_range, SHORT_TERM_S, reading.seconds),
        window_figure(reading.max_short_term, SHORT_TERM_S, reading.seconds),
        figure(reading.max_true_peak),
    )
    return tag(
        "tr",
        tag("th", tag("a", name, href=quote(os.fsencode(link))), _notes(outcome.verdicts), scope="row"),
        *(
            tag("td", _words(verdict), class_="side", data_measure=verdict.goal.name)
            for verdict in outcome.verdicts
        ),
        *(
            tag("td", words, class_="number", data_measure=measure)
            for words, measure in zip(figures, _MEASURES, strict=True)
        ),
    )


def _notes(verdicts: Sequence[Verdict]) -> str:
    count = note_count(verdicts)
    return f" {MARKS['note']} {count} {'note' if count == 1 else 'notes'}" if count else ""


def _words(verdict: Verdict) -> str:
    if verdict.passes:
        return "✓ passes"
    if not verdict.move_db:
        return "✗ fails"
    more = "" if verdict.remedy is None or verdict.remedy.is_enough else " and more"
    return f"✗ fails, move {gain_figure(verdict.move_db)} dB{more}"
