"""What a pass on record gives to a run that goes on with it. Pure: a record in, values out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidecar.feed import Course
from sidecar.journal.record import Floats, Record, Stems, Told
from sidecar.vocabulary import Reading


@dataclass(frozen=True, slots=True)
class Resumable:
    """All that a meter, an adviser and a screen need to go on as if the run had not broken off."""

    rate_hz: int
    layout: str
    energies: Floats
    """100 ms mean squares, bit for bit as metered, shape (n,): integrated and range follow from them."""
    cuts: tuple[int, ...]
    """Ascending places in *energies* before which the programme is not of one piece: no gating block
    reaches across (BS.1770-5 Annex 1). Stretches missing from the record are left out and cut here."""
    reading: Reading
    """As last read: running maxima, true peak a channel, sample peak, bad samples, seconds."""
    true_peak: Floats
    """dBTP of each block, shape (n,)."""
    fader_db: Floats
    """The programme fader in each block, as was known then, shape (n,)."""
    told: tuple[Told, ...]
    """What was said of the fader, in the order in which it was said."""
    stems: Stems | None
    lost_frames: int
    course: Course


def resumable(record: Record) -> Resumable:
    """What goes on from *record*."""
    place = record.place
    marked = np.searchsorted(place, [cut.block for cut in record.cuts])
    torn = np.flatnonzero(np.diff(place) > 1) + 1
    cuts = np.union1d(marked, torn)
    return Resumable(
        rate_hz=record.summary.about.rate_hz,
        layout=record.summary.about.layout,
        energies=record.energy,
        cuts=tuple(int(cut) for cut in cuts if 0 < cut < len(place)),
        reading=record.summary.reading,
        true_peak=record.true_peak.astype(np.float64),
        fader_db=record.fader_db.astype(np.float64),
        told=record.told,
        stems=record.stems,
        lost_frames=record.summary.lost_frames,
        course=record.course(),
    )
