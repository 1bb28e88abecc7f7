"""Rides of the fader: as marks over the history, and each in one line."""

from __future__ import annotations

from collections.abc import Sequence

from sidecar.model.readings import BLOCK_S, Ride
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone
from tui.drawing.columns import Window


def rides_row(rides: Sequence[Ride], shown: Window) -> Row | None:
    """Each ride from its start to its end, with its dB where they fit; None when none is in *shown*.

    It covers the same columns as the blocks that it changes; where two overlap the deeper one counts, so it
    is drawn over the other.
    """
    cells = Cells(shown.count)
    seen = False
    for ride in sorted(rides, key=lambda ride: abs(ride.gain_db)):
        first, last = shown.column(ride.start_s + BLOCK_S), shown.column(ride.start_s + ride.length_s)
        first, last = max(0, first), min(shown.count - 1, max(first, last))
        if first > last:
            continue
        seen = True
        sign, tone = _sign(ride)
        cells.put(first, sign + "─" * (last - first), tone)
        figure = wording.signed(ride.gain_db)
        if len(figure) < last - first:
            cells.put(first + 1, figure, tone)
    return cells.row() if seen else None


def ride_head(width: int) -> Row:
    """What the columns of :func:`ride_row` are."""
    return _columns(width, ("from", "held for", "  move", "ramps"), ("dim",) * 4)


def ride_row(ride: Ride, width: int) -> Row:
    """When the fader must be there, for how long, how far, and how long it takes there and back."""
    sign, tone = _sign(ride)
    texts = (
        wording.clock(ride.start_s),
        f"{wording.plain(ride.length_s)} s",
        f"{sign} {wording.signed(ride.gain_db)} dB",
        f"{wording.plain(ride.ramp_s)} s",
    )
    return _columns(width, texts, ("strong", "plain", f"{tone} bold", "dim"))


def _columns(width: int, texts: Sequence[str], tones: Sequence[Tone]) -> Row:
    cells = Cells(width)
    for x, text, tone in zip((0, 10, 22, 36), texts, tones, strict=True):
        cells.put(x, text, tone)
    return cells.row()


def _sign(ride: Ride) -> tuple[str, Tone]:
    return ("▲", "under") if ride.gain_db > 0.0 else ("▼", "over")
