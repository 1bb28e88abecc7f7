"""A pass as a file for others: a table in CSV, or all of it in JSON."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import OutputError, SettingsError
from sidecar.journal.record import Damaged, FaderReport, Record, Summary
from sidecar.loudness.limits import broken_limits
from sidecar.model.dialogue import dialogue_fields
from sidecar.model.readings import BLOCK_S, SILENCE
from sidecar.model.units import LOUDNESS_OFFSET_DB
from sidecar.settings.goals import Goal
from sidecar.storage.atomic_file import write_whole

COLUMNS = (
    *("seconds", "block_lufs", "short_term_lufs", "integrated_lufs"),
    *("true_peak_dbtp", "fader_db", "events"),
)


def export(record: Record, file: Path) -> None:
    """Writes *record* to *file*, as the ending says: .csv or .json. Silence is empty there, or null.

    Raises SettingsError for another ending, OutputError when the file cannot be written.
    """
    make = {".csv": _csv, ".json": _json}.get(file.suffix.lower())
    if make is None:
        raise SettingsError(f"A pass is exported to a .csv or a .json file, not to {file}.")
    content = make(record).encode()
    try:
        write_whole(file, content)
    except OSError as error:
        raise OutputError(
            f"{file} cannot be written ({error.strerror}): choose another place with --to."
        ) from error


def summary_fields(summary: Summary | Damaged) -> dict[str, Any]:
    """One pass in names and units that scripts read; a damaged one is its ``id`` and an ``error``."""
    if isinstance(summary, Damaged):
        return {"id": summary.id, "error": f"{summary.why}."}
    about, reading = summary.about, summary.reading
    broken = broken_limits(reading, about.goal)
    return {
        "id": summary.id,
        "began_utc": summary.began.isoformat(timespec="seconds"),
        "ended_utc": None if summary.ended is None else summary.ended.isoformat(timespec="seconds"),
        "source": about.source,
        "sample_rate": about.rate_hz,
        "layout": about.layout,
        "layout_from": about.layout_from or None,
        "version": summary.version,
        "seconds": round(reading.seconds, 3),
        "integrated_lufs": _number(reading.integrated),
        "loudness_range_lu": _number(reading.loudness_range),
        "max_momentary_lufs": _number(reading.max_momentary),
        "max_short_term_lufs": _number(reading.max_short_term),
        "max_true_peak_dbtp": _number(reading.max_true_peak),
        "true_peak_dbtp": [_number(peak) for peak in reading.true_peak],
        "sample_peak_dbfs": _number(reading.sample_peak),
        **({"dialogue": dialogue_fields(summary.dialogue)} if summary.dialogue else {}),
        "bad_samples": reading.bad_samples,
        "dropped_samples": summary.dropped_samples,
        "missing_s": round(summary.missing_blocks * BLOCK_S, 1),
        "goal": about.goal.name,
        "passes": not broken,
        "broken_limits": list(broken),
    }


def _csv(record: Record) -> str:
    text = io.StringIO(newline="")
    table = csv.writer(text)
    table.writerow(COLUMNS)
    table.writerows(_rows(record))
    return text.getvalue()


def _rows(record: Record) -> Iterator[list[object]]:
    columns = _history(record)
    events = _events_by_block(record)
    for block, *cells in zip(record.place.tolist(), *columns.values(), strict=True):
        yield [*cells, "; ".join(events.get(block, ()))]


def _events_by_block(record: Record) -> dict[int, list[str]]:
    """Returns the events at the block measured next; past the end, at the last one."""
    placed: dict[int, list[str]] = {}
    if not len(record.place):
        return placed
    seconds = [event.seconds for event in record.events]
    ends_s = (record.place + 1) * BLOCK_S
    found = np.searchsorted(ends_s, np.array(seconds) + BLOCK_S / 2.0).clip(max=len(ends_s) - 1)
    for event, at in zip(record.events, found, strict=True):
        # the kind comes first, so that no spreadsheet takes a label for a formula
        placed.setdefault(int(record.place[at]), []).append(f"{event.kind}: {event.text}")
    return placed


def _json(record: Record) -> str:
    whole = {
        **summary_fields(record.summary),
        "goal": _fields(record.summary.about.goal),
        "damage": record.damage or None,
        "cuts": [asdict(cut) for cut in record.cuts],
        "missing": [{"block": first, "blocks": blocks} for first, blocks in record.missing],
        "events": [asdict(event) for event in record.events],
        "fader_reports": [_fields(report) for report in record.fader_reports],
        "history": _history(record),
        "stems": _stems(record),
    }
    return json.dumps(whole, indent=1, allow_nan=False)


def _history(record: Record) -> dict[str, list[Any]]:
    """Columns with a value a block."""
    return {
        "seconds": [round((block + 1) * BLOCK_S, 1) for block in record.place.tolist()],
        "block_lufs": _column(_loudness(record.energy)),
        "short_term_lufs": _column(record.short_term),
        "integrated_lufs": _column(record.integrated),
        "true_peak_dbtp": _column(record.true_peak),
        "fader_db": _column(record.fader_db),
    }


def _stems(record: Record) -> dict[str, dict[str, list[Any]]]:
    stems = record.stems
    if stems is None:
        return {}
    energy = np.diagonal(stems.covariance, axis1=1, axis2=2)
    return {
        name: {
            "block_lufs": _column(_loudness(energy[:, place])),
            "true_peak_dbtp": _column(stems.true_peak[:, place]),
            "fader_db": _column(stems.fader_db[:, place]),
        }
        for place, name in enumerate(record.summary.about.stems)
    }


def _fields(kept: Goal | FaderReport) -> dict[str, object]:
    return {
        name: _number(value) if isinstance(value, float) else value for name, value in asdict(kept).items()
    }


def _loudness(energy: NDArray[np.floating]) -> NDArray[np.float64]:
    """BS.1770-5 Annex 1, equation 2, over each block alone."""
    levels = np.full(len(energy), SILENCE)
    np.log10(energy, out=levels, where=energy > 0.0)
    return LOUDNESS_OFFSET_DB + 10.0 * levels


def _column(values: NDArray[np.floating]) -> list[float | None]:
    return [_number(value) for value in values.tolist()]


def _number(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None
