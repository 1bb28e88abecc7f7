"""What a pass on record gives to a run that goes on with it. Pure: a record in, values out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sidecar.feed import Course
from sidecar.journal.record import Floats, Record, Singles, Stems, Told
from sidecar.vocabulary import BLOCK_S, SILENCE, Reading


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
    fader_db: Floats
    """The programme fader, with what was only said of it later."""
    stems: Stems | None
    """The stems, their faders with what was only said of them later."""
    lost_frames: int
    course: Course


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
        fader_db=faders_db(record),
        stems=_stems(record),
        lost_frames=record.summary.lost_frames,
        course=record.course(),
    )


def faders_db(record: Record) -> Floats:
    """Where the programme fader stood in each 100 ms, with what was only said of it later; shape (n,).

    Where nobody ever said anything, it is what the source itself knew.
    """
    told = [word for word in record.told if not word.stem]
    if not told:
        return record.course().fader_db.astype(np.float64)
    # here, not above: the journal's list needs no advice
    from sidecar.advice.fader_history import FaderHistory

    history = FaderHistory()
    for word in told:
        if word.is_position:
            history.feedback(word.at_s, word.value_db)
        else:
            history.moved_by(word.at_s, word.value_db)
    return history.gains_db(0, record.summary.blocks)


def _cuts(record: Record) -> tuple[int, ...]:
    blocks = record.summary.blocks
    marked = [cut.block for cut in record.cuts]
    torn = [edge for first, count in record.missing for edge in (first, first + count)]
    return tuple(sorted({edge for edge in (*marked, *torn) if 0 < edge < blocks}))


def _stems(record: Record) -> Stems | None:
    if record.stems is None:
        return None
    stems, names, blocks = record.stems, record.summary.about.stems, record.summary.blocks
    covariance = np.zeros((blocks, len(names), len(names)), np.float32)
    true_peak = np.full((blocks, len(names)), SILENCE, np.float32)
    fader_db = np.zeros((blocks, len(names)), np.float32)
    covariance[record.place], true_peak[record.place] = stems.covariance, stems.true_peak
    fader_db[record.place] = stems.fader_db
    for place, name in enumerate(names):
        _put_right(fader_db[:, place], [word for word in record.told if word.stem == name])
    return Stems(covariance, true_peak, fader_db)


def _put_right(fader_db: Singles, told: Sequence[Told]) -> None:
    """The first position that was said of a stem's fader counts for all that came before, which was taken
    in as if it stood at 0 dB."""
    positions = [word for word in told if word.is_position and word.value_db > SILENCE]
    if positions:
        fader_db[: round(positions[0].at_s / BLOCK_S)] += positions[0].value_db
