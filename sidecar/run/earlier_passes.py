"""Earlier passes as the forecast of the one that plays: the last one on record, or a file of the mix."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sidecar.advice.programme.advisor import Earlier, material
from sidecar.errors import RecordError, SettingsError
from sidecar.journal import reader
from sidecar.journal.record import Record
from sidecar.journal.resume import fader_history, resumable
from sidecar.loudness.series import Floats
from sidecar.model.readings import BLOCK_S

LAST = "last"
_WORTH_S = 60.0
"""A pass this long can serve as a forecast."""
_BLOCK_FRAMES = 65_536
_DIGITS = 9


def load_earlier(text: str, layout: str | None = None) -> Earlier:
    """Returns the earlier pass named by *text*: "last", or a sound file that holds the programme.

    Raises RecordError when there is no last one or the record cannot be read, SourceError and
    SignalError for a file that cannot be read or measured.
    """
    return _last() if text == LAST else _of_file(Path(text), layout)


def on_record(name: str) -> Earlier | None:
    """Returns the recorded pass called *name*: "last" or the number of a pass; None for "none".

    Files are refused, because the command may come over the network.
    Raises SettingsError for another name, RecordError when there is no such pass or it cannot be read.
    """
    if name == "none":
        return None
    if name == LAST:
        return _last()
    if not (name.isascii() and name.isdigit() and len(name) <= _DIGITS):
        raise SettingsError(f"A forecast is 'last', the number of a pass on record, or 'none'; not '{name}'.")
    return _of(reader.load(int(name)))


def _last() -> Earlier:
    record = reader.latest(blocks=round(_WORTH_S / BLOCK_S))
    if record is None:
        raise RecordError("No last pass yet. Measure one for a minute or more, or give --earlier a file.")
    return _of(record)


def _of(record: Record) -> Earlier:
    energies = material(resumable(record).energies, fader_history(record))
    return Earlier(f"the pass of {record.summary.about.source}", energies)


def _of_file(path: Path, layout: str | None) -> Earlier:
    from sidecar.meter import Meter
    from sidecar.meter.layouts import choose_layout
    from sidecar.sources.file import FileSource

    source = FileSource(path, pace="fast", block_frames=_BLOCK_FRAMES)
    try:
        chosen, _ = choose_layout(layout, source.positions, source.channels)
        meter = Meter(source.rate_hz, chosen.name)
        energies: list[Floats] = []
        for block in source.blocks():
            meter.push(block.frames)
            energies.append(meter.take_blocks().energy)
    finally:
        source.close()
    return Earlier(path.name, np.concatenate(energies))
