"""Channels that go to digital silence amid sound and come back, abruptly both times.

Found on the course's grid of 0.1 s: every gap of 0.3 s and longer holds a block of exact zeros.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import numpy as np

from sidecar.delivery.facts import Facts
from sidecar.delivery.findings import Span
from sidecar.delivery.measure import Measured
from sidecar.vocabulary import BLOCK_S, FloatArray

ABRUPT_DBTP = -50.0
"""Ours: what falls from here to exact zero within a tenth of a second did not fade."""


def dropouts(measured: Measured) -> dict[tuple[int, ...], list[Span]]:
    """Places by the channels, counted from 1, that drop out there together. A silence of all channels that
    is told among the facts is left out."""
    channels = defaultdict(list)
    for channel in range(measured.channels):
        for gap in _abrupt_gaps(measured.course.true_peak[:, channel]):
            channels[gap].append(channel + 1)
    places = defaultdict(list)
    for (start, stop), numbers in channels.items():
        start_s, stop_s = start * BLOCK_S, stop * BLOCK_S
        if not _is_silence(start_s, stop_s, measured.facts):
            places[tuple(numbers)].append(Span(start_s, stop_s, stop_s - start_s, start_s))
    return dict(places)


def _abrupt_gaps(peaks: FloatArray) -> list[tuple[int, int]]:
    """Blocks (first, behind the last) of one channel that hold exact zeros, where both neighbours sound."""
    edges = (np.flatnonzero(np.diff(np.isneginf(peaks))) + 1).tolist()
    gaps = [(start, stop) for start, stop in pairwise(edges) if np.isneginf(peaks[start])]
    return [(start, stop) for start, stop in gaps if min(peaks[start - 1], peaks[stop]) >= ABRUPT_DBTP]


def _is_silence(start_s: float, stop_s: float, facts: Facts) -> bool:
    return any(
        silence.start_s - BLOCK_S < start_s and stop_s < silence.start_s + silence.length_s + BLOCK_S
        for silence in facts.silences
    )
