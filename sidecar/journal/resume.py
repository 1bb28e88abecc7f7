"""What a pass on record gives to a run that goes on with it. Pure: a record in, values out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sidecar.advice.faders.history import FaderHistory
from sidecar.journal.record import FaderReport, Floats, Record, Singles, StemBalance
from sidecar.model.readings import BLOCK_S, SILENCE, Reading
from sidecar.model.snapshot import Timeline


@dataclass(frozen=True, slots=True)
class Resumable:
    """All that a meter, an adviser and a screen need to go on as if the run had not broken off.

    The arrays have one entry for each 100 ms of the pass, shape (n,). A stretch that is missing from the
    record is silent in them, with a cut at either end: it counts for nothing (BS.1770-5 Annex 1; Tech
    3342 §3.1), and all places stay right.
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
    """The programme fader: all that was said of it, or else what the source itself knew."""
    stems: StemBalance | None
    """The stems, their faders with what was only said of them later."""
    reported_stems: frozenset[str]
    """Those whose faders somebody has told of: the next word on one is not the first."""
    lost_frames: int
    course: Timeline


def resumable(record: Record) -> Resumable:
    """What goes on from *record*."""
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
        reported_stems=frozenset(word.stem for word in record.fader_reports if _says_where(word)) - {""},
        lost_frames=record.summary.lost_frames,
        course=record.timeline(),
    )


def fader_history(record: Record) -> FaderHistory:
    """The programme fader's history: what was said of it, in the order in which it was said; where nobody
    ever said anything, what the source itself knew in each block."""
    history = FaderHistory()
    told = [word for word in record.fader_reports if not word.stem]
    for word in told or _known_by_the_source(record):
        if word.is_position:
            history.add_feedback(word.at_s, word.value_db)
        else:
            history.moved_by(word.at_s, word.value_db)
    return history


def _known_by_the_source(record: Record) -> Iterator[FaderReport]:
    """A word for each change; none where the fader was at 0 dB throughout, as where nobody knows it."""
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
        _put_right(fader_db[:, place], [word for word in record.fader_reports if word.stem == name])
    return StemBalance(covariance, true_peak, fader_db)


def _put_right(fader_db: Singles, told: Sequence[FaderReport]) -> None:
    """The first position that was said of a stem's fader counts for all that came before, which was taken
    in as if it stood at 0 dB."""
    positions = [word for word in told if _says_where(word)]
    if positions:
        fader_db[: round(positions[0].at_s / BLOCK_S)] += positions[0].value_db


def _says_where(word: FaderReport) -> bool:
    """A closed fader says nothing of where it stood before."""
    return word.is_position and word.value_db > SILENCE
