"""The report of one file: a self-contained page, opens without a network and prints on A4."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files
from pathlib import PurePath

from sidecar.delivery.judge.checking import Checked
from sidecar.delivery.judge.findings import MARKS, Finding
from sidecar.delivery.judge.rules import rule_words
from sidecar.delivery.judge.verdict import Verdict, findings_by_goal
from sidecar.delivery.measure.fingerprint import Fingerprint
from sidecar.delivery.measure.whole_file import Measured
from sidecar.delivery.report.figures import figures_table
from sidecar.delivery.report.history_sheet import history_sheet
from sidecar.delivery.report.levels_sheet import levels_sheet
from sidecar.delivery.report.markup import Markup, join, tag
from sidecar.delivery.report.peaks_sheet import peaks_sheet
from sidecar.delivery.report.sheet import style
from sidecar.delivery.report.signature import Signature, format_words
from sidecar.meter.layouts import ORIGIN_WORDS
from sidecar.model.timecode import time_code
from sidecar.model.units import decibel, figure
from sidecar.settings.goals import Goal

_METHOD = (
    "Loudness: ITU-R BS.1770-5, EBU Tech 3341. Loudness range: EBU Tech 3342. True peak: ITU-R BS.1770-5 "
    "Annex 2, on a grid of 16 points a sample. Figures are judged as shown, rounded to one decimal (EBU "
    "Tech 3341 §2.8). Times are h:mm:ss.s from the first frame. A loudness has the time at which its window "
    "ends."
)
CAUTIONS = (
    "The receiver's own specification has the last word: compare the goal with it. This program is not a "
    "certified meter. It measures a signal, not sound pressure. Turn the monitors down before you play a "
    "raised file."
)


def file_page(checked: Checked, known_by: Fingerprint, signature: Signature, index: str = "") -> str:
    """The page. index: where the list of all files lies, as a link; empty without one."""
    name, measured = file_name(checked.file), checked.measured
    first = checked.verdicts[0]
    return page(
        f"{name}: delivery check",
        _header(name, signature, index),
        *(_verdict(verdict, measured) for verdict in checked.verdicts),
        *(
            figures_table(measured, verdict, str(k), () if k else checked.dialogue, judged_only=k > 0)
            for k, verdict in enumerate(checked.verdicts)
        ),
        _section(
            "The history", tag("figure", history_sheet(measured, first, dialogue=checked.dialogue).svg())
        ),
        _findings(checked.verdicts),
        _drawings(measured, first.goal),
        _channels(measured),
        _file(checked, known_by, signature),
        _section("How it was measured", tag("p", _METHOD), tag("p", CAUTIONS), class_="cautions"),
    )


def page(title: str, *body: Markup) -> str:
    """A whole document."""
    css = files("sidecar.delivery.report").joinpath("report.css").read_text(encoding="utf-8")
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("title", title),
        tag("style", Markup(style() + css)),
    )
    return f"<!DOCTYPE html>\n{tag('html', head, tag('body', *body), lang='en')}\n"


def file_name(file: str) -> str:
    return PurePath(file).name


def _header(name: str, signature: Signature, index: str) -> Markup:
    back = tag("p", tag("a", "← all files", href=index)) if index else join()
    measured = f"measured {signature.when}" + (f" by {signature.by}" if signature.by else "")
    return tag(
        "header",
        tag("p", f"{signature.program} · delivery check"),
        tag("h1", name),
        tag("p", measured),
        back,
    )


def _verdict(verdict: Verdict, measured: Measured) -> Markup:
    goal = verdict.goal
    words = f"✓ Meets {goal.title}" if verdict.passes else f"✗ Does not meet {goal.title}"
    source = f"{goal.name}: {goal_words(goal)} Source: {goal.source}."
    return tag(
        "section",
        tag("h2", words),
        *(tag("p", line, class_="move") for line in _move(verdict, measured)),
        tag("p", source, class_="source"),
        class_=f"verdict {'passes' if verdict.passes else 'fails'}",
    )


def _move(verdict: Verdict, measured: Measured) -> list[str]:
    """The next thing to do, largest on the page."""
    remedies = [finding.sentence for finding in verdict.findings if finding.kind == "remedy"]
    if remedies:
        return remedies
    if verdict.passes:
        reading = measured.reading
        return [
            f"Integrated {figure(reading.integrated)} {verdict.goal.unit}, highest true peak "
            f"{figure(reading.max_true_peak)} dBTP: no gain is needed."
        ]
    return [verdict.findings[0].sentence]


def goal_words(goal: Goal) -> str:
    """A goal's figures in one sentence."""
    below, above = goal.tolerance_below_lu, goal.tolerance_above_lu
    if below == above:
        band = f"±{figure(below)} LU"
    elif below == float("inf"):
        band = f"or less, +{figure(above)} LU"
    else:
        band = f"−{figure(below)} to +{figure(above)} LU"
    limits = [f"true peak at most {figure(goal.ceiling_dbtp)} dBTP"]
    for word, limit in (("short-term", goal.max_short_term_lufs), ("momentary", goal.max_momentary_lufs)):
        if limit is not None:
            limits.append(f"{word} at most {figure(limit)} {goal.unit}")
    words = f"{figure(goal.target_lufs)} {goal.unit} {band}, {', '.join(limits)}."
    rules = "" if goal.delivery is None else rule_words(goal.delivery)
    return f"{words} {rules}" if rules else words


def _drawings(measured: Measured, goal: Goal) -> Markup:
    reading, facts = measured.reading, measured.facts
    levels = levels_sheet(measured, goal)
    peaks = peaks_sheet(measured.channel_names, reading.true_peak, facts.sample_peak, goal)
    return tag(
        "div",
        _section("How loud, how often", tag("figure", levels.svg()), class_="whole"),
        _section("Peaks of each channel", tag("figure", peaks.svg()), class_="whole"),
        class_="pair",
    )


def _findings(verdicts: Sequence[Verdict]) -> Markup:
    rows = [_finding(goal, finding) for goal, finding in findings_by_goal(verdicts)]
    if not rows:
        return _section("What was found", tag("p", "No fault and no note."))
    return _section("What was found", tag("ul", *rows, class_="findings"))


def _finding(goal: str, finding: Finding) -> Markup:
    about = f"{finding.kind}{f', {goal}' if goal else ''}: "
    places = tag("span", finding.places, class_="places") if finding.places else join()
    return tag(
        "li",
        tag("span", MARKS[finding.kind], class_="kind", aria_hidden="true"),
        tag("b", about.capitalize()),
        finding.sentence,
        places,
    )


def _channels(measured: Measured) -> Markup:
    heads = ("channel", "true peak, dBTP", "sample peak, dBFS", "DC offset, dBFS")
    facts = measured.facts
    offsets = (decibel(abs(offset)) for offset in facts.dc_offset)
    each = zip(measured.channel_names, measured.reading.true_peak, facts.sample_peak, offsets, strict=True)
    rows = [
        tag(
            "tr",
            tag("th", name, scope="row"),
            *(tag("td", figure(level), class_="number") for level in levels),
        )
        for name, *levels in each
    ]
    top = [tag("th", head, scope="col", class_="number" if head != heads[0] else "") for head in heads]
    return _section("Channels", tag("table", tag("thead", tag("tr", *top)), tag("tbody", *rows)))


def _file(checked: Checked, known_by: Fingerprint, signature: Signature) -> Markup:
    measured, part = checked.measured, checked.part
    facts, reading, names = measured.facts, measured.reading, ", ".join(measured.channel_names)
    rows = (
        ("File", checked.file),
        ("SHA-256", tag("span", known_by.sha256, class_="hash")),
        ("Size", f"{known_by.size_bytes:,} bytes"),
        ("Format", format_words(facts.container, facts.encoding)),
        ("Sample rate", f"{measured.sample_rate:,} Hz"),
        ("Channels", f"{measured.channels} ({names})"),
        ("Layout", f"{measured.layout}, {ORIGIN_WORDS[measured.layout_from]}"),
        *([] if part is None else [("Part measured", part.name)]),
        ("Length", f"{time_code(reading.seconds)} ({facts.frames:,} frames, none lost)"),
        ("Samples that are no numbers", f"{reading.bad_samples:,}"),
        ("Measured by", signature.by or "not stated"),
        ("Measured at", signature.when),
        ("Measured with", signature.program),
    )
    pairs = [part for word, what in rows for part in (tag("dt", word), tag("dd", what))]
    return _section("The file and its measurement", tag("dl", *pairs), class_="whole")


def _section(heading: str, *inside: str, class_: str = "") -> Markup:
    return tag("section", tag("h2", heading), *inside, **({"class_": class_} if class_ else {}))
