"""A file held against the rules that a goal has besides its loudness."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from sidecar.delivery.judge.findings import Finding
from sidecar.delivery.measure.facts import QUIET_DBFS
from sidecar.delivery.measure.whole_file import Measured
from sidecar.meter.layouts import channel_names
from sidecar.model.units import figure
from sidecar.settings.delivery_rules import DeliveryRules, Depth, SilenceLimits

_LINEAR = re.compile(r"(?:PCM_[SU]?|ALAC_)(\d+)")
"""libsndfile's names of encodings in whole numbers, with their bits."""


def rule_findings(measured: Measured, rules: DeliveryRules) -> Iterator[Finding]:
    """A fault for each rule that *measured* breaks."""
    for about, sentence in (
        *_sample_rate(measured, rules),
        *_bit_depth(measured, rules),
        *_layout(measured, rules),
        *_ends(measured, rules),
    ):
        yield Finding("fault", about, sentence)


def rule_words(rules: DeliveryRules) -> str:
    """The rules in one sentence; empty where there are none."""
    parts = []
    if rules.sample_rates_hz:
        parts.append(_either(f"{rate:,} Hz" for rate in rules.sample_rates_hz))
    if rules.bit_depths:
        parts.append(_either(_depth_words(depth) for depth in rules.bit_depths))
    if rules.layouts:
        parts.append(_either(rules.layouts))
    for end, span in (("head", rules.head_silence_s), ("tail", rules.tail_silence_s)):
        if span is not None:
            parts.append(f"{_span_words(span)} of silence at the {end}")
    if rules.failing_notes:
        parts.append(f"none of: {', '.join(rules.failing_notes)}")
    words = "; ".join(parts)
    return f"{words[0].upper()}{words[1:]}." if words else ""


Broken = tuple[str, str]
"""What a rule is about, and the sentence."""


def _sample_rate(measured: Measured, rules: DeliveryRules) -> Iterator[Broken]:
    if rules.sample_rates_hz and measured.sample_rate not in rules.sample_rates_hz:
        wanted = _either(f"{rate:,} Hz" for rate in rules.sample_rates_hz)
        yield "sample rate", f"Its sample rate is {measured.sample_rate:,} Hz; the goal asks for {wanted}."


def _bit_depth(measured: Measured, rules: DeliveryRules) -> Iterator[Broken]:
    depth = _depth(measured.facts.encoding)
    if rules.bit_depths and depth not in rules.bit_depths:
        wanted = _either(_depth_words(each) for each in rules.bit_depths)
        has = "in an encoding without a bit depth" if depth is None else _depth_words(depth)
        yield "bit depth", f"It is {has} ({measured.facts.encoding}); the goal asks for {wanted}."


def _depth(encoding: str) -> Depth | None:
    if encoding in ("FLOAT", "DOUBLE"):
        return "float"
    linear = _LINEAR.fullmatch(encoding)
    return None if linear is None else int(linear[1])


def _layout(measured: Measured, rules: DeliveryRules) -> Iterator[Broken]:
    if rules.layouts and not any(_is_layout(measured, wanted) for wanted in rules.layouts):
        yield (
            "layout",
            f"Its channels are {measured.layout} ({', '.join(measured.channel_names)}); the goal asks for "
            f"{_either(rules.layouts)}.",
        )


def _is_layout(measured: Measured, wanted: str) -> bool:
    """By name or by positions, whichever way the two are written."""
    names = measured.channel_names
    are_positions = not names[0].isdigit()
    return wanted == measured.layout or (are_positions and channel_names(wanted, len(names)) == names)


def _ends(measured: Measured, rules: DeliveryRules) -> Iterator[Broken]:
    lengths_s = (measured.facts.quiet_head_s, measured.facts.quiet_tail_s)
    spans = (rules.head_silence_s, rules.tail_silence_s)
    for end, span, length_s in zip(("head", "tail"), spans, lengths_s, strict=True):
        if span is None:
            continue
        shown_s = round(length_s, 1)
        if not round(span.least_s, 1) <= shown_s <= round(span.most_s, 1):
            yield (
                f"{end} silence",
                f"{figure(shown_s)} s at its {end} stay under {figure(QUIET_DBFS)} dBFS; the goal asks for "
                f"{_span_words(span)}.",
            )


def _depth_words(depth: Depth) -> str:
    return "floating point" if depth == "float" else f"{depth}-bit"


def _span_words(span: SilenceLimits) -> str:
    if span.most_s == float("inf"):
        return f"at least {figure(span.least_s)} s"
    if span.least_s == 0.0:
        return f"at most {figure(span.most_s)} s"
    return f"{figure(span.least_s)} to {figure(span.most_s)} s"


def _either(words: Iterable[str]) -> str:
    *rest, last = words
    return f"{', '.join(rest)} or {last}" if rest else last
