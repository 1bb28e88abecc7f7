"""Channels that are cut off amid sound and come back as suddenly: gaps that no fade leads into or out of."""

from __future__ import annotations

from collections import defaultdict

from sidecar.delivery.judge.findings import Span
from sidecar.delivery.measure.facts import SHORTEST_SILENCE_S, Gap
from sidecar.delivery.measure.whole_file import Measured
from sidecar.model.readings import BLOCK_S, SILENCE

ABRUPT_DB = 24.0
"""Ours: so far, at most, may the samples right beside a gap lie under the peak of the tenths of a second
around that edge. A fade, and the end of a note, has fallen further; few waveforms have, at any one place."""


def dropouts(measured: Measured) -> dict[tuple[int, ...], list[Span]]:
    """Returns places by the channels, counted from 0, that drop out there together. A silence of all channels
    that is reported among the facts is left out. The worst of each is its length in seconds."""
    places = defaultdict(list)
    for gap in measured.facts.gaps:
        everyone = len(gap.channels) == measured.channels
        if (everyone and gap.length_s >= SHORTEST_SILENCE_S) or not _is_cut(gap, measured):
            continue
        span = Span(gap.start_s, gap.start_s + gap.length_s, gap.length_s, gap.start_s)
        places[gap.channels].append(span)
    return dict(places)


def _is_cut(gap: Gap, measured: Measured) -> bool:
    before, after = int(gap.start_s / BLOCK_S), int((gap.start_s + gap.length_s) / BLOCK_S)
    return all(
        edge_dbfs >= _peak_dbtp(measured, gap.channels, first, first + 2) - ABRUPT_DB
        for edge_dbfs, first in ((gap.before_dbfs, max(0, before - 1)), (gap.after_dbfs, after))
    )


def _peak_dbtp(measured: Measured, channels: tuple[int, ...], first: int, stop: int) -> float:
    """The highest in these blocks of the history; silence behind its end."""
    return float(measured.history.true_peak[first:stop, list(channels)].max(initial=SILENCE))
