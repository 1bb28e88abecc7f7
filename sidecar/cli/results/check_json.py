"""What ``sidecar check --json`` prints; ``delivery/check.schema.json`` describes it."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from sidecar.delivery.judge.checking import Outcome, Unread
from sidecar.delivery.judge.findings import Finding
from sidecar.delivery.judge.verdict import Verdict
from sidecar.delivery.measure.coding import Coded
from sidecar.delivery.measure.dialogue import FileDialogue
from sidecar.delivery.measure.part import Part
from sidecar.delivery.measure.whole_file import Measured
from sidecar.model.dialogue import dialogue_fields
from sidecar.model.readings import SHORT_TERM_S
from sidecar.model.units import json_number


def schema_text() -> str:
    """The JSON Schema of the array of :func:`as_json` values."""
    return files("sidecar.delivery.report").joinpath("check.schema.json").read_text(encoding="utf-8")


def as_json(outcome: Outcome) -> dict[str, Any]:
    """One file. The first goal's verdict is on top; with several goals each has its own under
    ``verdicts``."""
    if isinstance(outcome, Unread):
        return {"file": outcome.file, "error": outcome.error}
    judged = [_judged(verdict) for verdict in outcome.verdicts]
    return {
        "file": outcome.file,
        **({} if outcome.part is None else {"part": _part(outcome.part, outcome.measured)}),
        **_measured(outcome.measured),
        **_facts(outcome.measured),
        **judged[0],
        **({"verdicts": judged} if len(judged) > 1 else {}),
        **({"dialogue": [_dialogue(each) for each in outcome.dialogue]} if outcome.dialogue else {}),
        **({} if outcome.coded is None else {"encoded": [_coded(one) for one in outcome.coded]}),
    }


def _part(part: Part, measured: Measured) -> dict[str, Any]:
    rate_hz = measured.sample_rate
    return {
        "name": part.name,
        "from_s": _seconds(part.first / rate_hz),
        "to_s": _seconds(part.stop / rate_hz),
        "from": measured.clock.words(0.0),
    }


def _measured(measured: Measured) -> dict[str, Any]:
    reading = measured.reading
    return {
        "sample_rate": measured.sample_rate,
        "channels": measured.channels,
        "layout": measured.layout,
        "layout_from": measured.layout_from,
        "channel_names": list(measured.channel_names),
        "seconds": round(reading.seconds, 3),
        "integrated_lufs": json_number(reading.integrated),
        "loudness_range_lu": json_number(reading.loudness_range) if reading.seconds >= SHORT_TERM_S else None,
        "max_momentary_lufs": json_number(reading.max_momentary),
        "max_momentary_at_s": _seconds(measured.max_momentary_at_s),
        "max_short_term_lufs": json_number(reading.max_short_term),
        "max_short_term_at_s": _seconds(measured.max_short_term_at_s),
        "max_true_peak_dbtp": json_number(reading.max_true_peak),
        "max_true_peak_at_s": _seconds(measured.max_true_peak_at_s),
        "true_peak_dbtp": [json_number(peak) for peak in reading.true_peak],
        "sample_peak_dbfs": json_number(reading.sample_peak),
        "peak_to_loudness_lu": json_number(measured.peak_to_loudness_lu),
        "bad_samples": reading.bad_samples,
    }


def _facts(measured: Measured) -> dict[str, Any]:
    facts = measured.facts
    return {
        "container": facts.container,
        "encoding": facts.encoding,
        "frames": facts.frames,
        "sample_peaks_dbfs": [json_number(peak) for peak in facts.sample_peak],
        "dc_offset": [round(mean, 6) for mean in facts.dc_offset],
        "identical_channels": facts.identical_channels,
        "correlation": None if facts.correlation is None else round(facts.correlation, 3),
        "silences": [
            {"start_s": round(s.start_s, 3), "length_s": round(s.length_s, 3)} for s in facts.silences
        ],
        "clipped_runs": facts.clipped_runs,
        "first_clip_at_s": _seconds(facts.first_clip_at_s),
        "clips_at_s": [_seconds(at) for at in facts.clips_at_s],
    }


def _coded(coded: Coded) -> dict[str, Any]:
    return {
        "coder": coded.coder,
        "quality": coded.quality,
        "sample_rate": coded.sample_rate,
        "kbit_per_s": coded.kbit_per_s,
        "max_true_peak_dbtp": json_number(coded.true_peak_dbtp),
        "max_true_peak_at_s": _seconds(coded.at_s),
    }


def _dialogue(dialogue: FileDialogue) -> dict[str, Any]:
    return {
        **dialogue_fields(dialogue.loudness),
        "spans": [
            {"start_s": round(start_s, 1), "end_s": round(end_s, 1)} for start_s, end_s in dialogue.spans_s
        ],
    }


def _judged(verdict: Verdict) -> dict[str, Any]:
    remedy = verdict.remedy
    return {
        "goal": verdict.goal.name,
        "passes": verdict.passes,
        "findings": [finding.sentence for finding in verdict.findings],
        "details": [_detail(finding) for finding in verdict.findings],
        "move_db": verdict.move_db,
        "move_is_enough": None if remedy is None else remedy.is_enough,
    }


def _detail(finding: Finding) -> dict[str, Any]:
    spans = [
        {
            "start_s": round(span.start_s, 3),
            "end_s": round(span.end_s, 3),
            "worst": round(span.worst, 3) if finding.kind == "note" else json_number(span.worst),
            "worst_s": round(span.worst_s, 3),
        }
        for span in finding.spans
    ]
    return {"kind": finding.kind, "about": finding.about, "sentence": finding.sentence, "spans": spans}


def _seconds(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
