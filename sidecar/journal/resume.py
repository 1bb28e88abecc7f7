"""The state that a run needs to resume a recorded pass. Pure: a record in, values out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.advice.faders.history import FaderHistory
from sidecar.journal.record import FaderReport, Floats, Record, Singles, StemBalance
from sidecar.model.readings import BLOCK_S, SILENCE, Reading
from sidecar.model.snapshot import Timeline


@dataclass(frozen=True, slots=True)
class Resumable:
    """The state of meter, advisors and screen with which a run resumes as if it had not been interrupted.

    The arrays have one entry for each 100 ms of the pass, shape (n,). A stretch that is missing from the
    record is silent in them, with a cut at either end: it does not count (BS.1770-5 Annex 1; Tech 3342
    §3.1), and all times stay right.
    """

    rate_hz: int
    layout: str
    energies: Floats
    """Mean squares, bit for bit as metered: integrated and range follow from them and the cuts."""
    cuts: tuple[int, ...]
    """Ascending places before which the programme is not of one piece: no window reaches across."""
    reading: Reading
    """As last read: running maxima, true peak a channel, sample peak, bad samples, seconds."""
    true_peak: Floats
    """dBTP."""
    fader: FaderHistory
    """The master fader: all reports on it, or without any what the source itself knew."""
    stems: StemBalance | None
    """The stems, with fader positions that were only reported later."""
    reported_stems: frozenset[str]
    """Stems with a reported fader position: their next report is not the first."""
    dropped_samples: int
    history: Timeline
    speech: NDArray[np.uint8]
    """As :attr:`Record.speech`."""


def resumable(record: Record) -> Resumable:
    """Returns the state with which a run resumes *record*."""
    about = record.summary.about
    return Resumable(
        rate_hz=about.rate_hz,
        layout=about.layout,
        energies=record.laid_out(record.energy, 0.0),
        cuts=_cuts(record),
        reading=record.summary.reading,
        true_peak=record.laid_out(record.true_peak.astype(np.float64), SILENCE),
        fader=fader_history(record),
        stems=_stems(record),
        reported_stems=_reported_stems(record),
        dropped_samples=record.summary.dropped_samples,
        history=record.timeline(),
        speech=record.speech,
    )


def _reported_stems(record: Record) -> frozenset[str]:
    positions = filter(_is_open_position, record.fader_reports)
    return frozenset(report.stem for report in positions) - {""}


def fader_history(record: Record) -> FaderHistory:
    """Returns the master fader's history from its reports in the order of their arrival; without any, from
    what the source itself knew in each block."""
    history = FaderHistory()
    reports = [report for report in record.fader_reports if not report.stem]
    for report in reports or _known_by_the_source(record):
        if report.is_position:
            history.add_feedback(report.at_s, report.value_db)
        else:
            history.moved_by(report.at_s, report.value_db)
    return history


def _known_by_the_source(record: Record) -> Iterator[FaderReport]:
    """Yields a report for each change; none where the fader was at 0 dB throughout, as an unknown one is."""
    faders_db, place = record.fader_db, record.place
    if not faders_db.any():
        return
    yield FaderReport(0.0, float(faders_db[0]), is_position=True)
    for at in np.flatnonzero(faders_db[1:] != faders_db[:-1]) + 1:
        yield FaderReport(float(place[at]) * BLOCK_S, float(faders_db[at]), is_position=True)


def _cuts(record: Record) -> tuple[int, ...]:
    blocks = record.summary.blocks
    marked = [cut.block for cut in record.cuts]
    torn = [edge for first, count in record.missing for edge in (first, first + count)]
    return tuple(sorted({edge for edge in (*marked, *torn) if 0 < edge < blocks}))


def _stems(record: Record) -> StemBalance | None:
    if record.stems is None:
        return None
    stems, names, blocks = record.stems, record.summary.about.stems, record.summary.blocks
    covariance = np.zeros((blocks, len(names), len(names)), np.float32)
    true_peak = np.full((blocks, len(names)), SILENCE, np.float32)
    fader_db = np.zeros((blocks, len(names)), np.float32)
    covariance[record.place], true_peak[record.place] = stems.covariance, stems.true_peak
    fader_db[record.place] = stems.fader_db
    for place, name in enumerate(names):
        _apply_first_report(
            fader_db[:, place], [report for report in record.fader_reports if report.stem == name]
        )
    return StemBalance(covariance, true_peak, fader_db)


def _apply_first_report(fader_db: Singles, reports: Sequence[FaderReport]) -> None:
    """Adds the first reported position of a stem's fader to all blocks before it, which were recorded as if
    the fader was at 0 dB."""
    positions = [report for report in reports if _is_open_position(report)]
    if positions:
        fader_db[: round(positions[0].at_s / BLOCK_S)] += positions[0].value_db


def _is_open_position(report: FaderReport) -> bool:
    """True for the position of an open fader: a closed one gives no hint of its position before."""
    return report.is_position and report.value_db > SILENCE
