"""What is found in a finished file: sentences with their places in the programme."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sidecar.loudness.limits import are_over
from sidecar.model.readings import FloatArray
from sidecar.model.timecode import FROM_FIRST_FRAME, Clock
from sidecar.model.units import figure

Kind = Literal["fault", "remedy", "note"]
"""A fault fails the file; a remedy removes faults; a note is to be looked at and fails nothing."""

_LEVELS = frozenset(("true peak", "short-term", "momentary"))
"""Measures whose places are reported with a level."""

MARKS: dict[Kind, str] = {"fault": "✗", "remedy": "→", "note": "·"}

_MERGE_S = 1.0
"""Ours: moments less than this apart are reported as one place."""
LISTED = 5
"""Ours: places listed one by one; the rest is counted."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of programme, seconds from its start, and the worst in it."""

    start_s: float
    """Seconds from the file's first frame, as all places here."""
    end_s: float
    """Where it ends."""
    worst: float
    """In the unit of what was held against a limit; for silence and dropouts the length in seconds; for
    clipping how many runs."""
    worst_s: float
    """Where the worst is."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence about a file."""

    kind: Kind
    """``fault`` fails the file, ``remedy`` removes faults, ``note`` is to be looked at and fails nothing."""
    about: str
    """One word or two, for scripts: loudness, true peak, short-term, momentary, silence …"""
    sentence: str
    """What was found, with its figures."""
    spans: tuple[Span, ...] = ()
    """Every place, the worst first; of clipping the first of them, in order."""
    clock: Clock = FROM_FIRST_FRAME
    """How times are written."""

    @property
    def places(self) -> str:
        """The worst places in words, and how many more there are; empty without spans."""
        if not self.spans:
            return ""
        named = "; ".join(self._place(span) for span in self.spans[:LISTED])
        more = len(self.spans) - LISTED
        return f"At {named}" + (f"; and {more} more." if more > 0 else ".")

    def _place(self, span: Span) -> str:
        place = self.clock.words(span.start_s)
        if self.about in ("dropout", "held samples"):
            return f"{place} ({length(span.worst)})"
        if span.end_s - span.start_s > 0.15:
            place = f"{place} to {self.clock.words(span.end_s)}"
        return f"{place} ({figure(span.worst)})" if self.about in _LEVELS else place


def length(seconds: float) -> str:
    """A length in words: whole milliseconds, from one second on seconds."""
    return f"{figure(seconds)} s" if seconds >= 1.0 else f"{round(seconds * 1000.0)} ms"


def spans_of(moments_s: Sequence[float]) -> tuple[Span, ...]:
    """The places of moments, which are in order; the worst of each is how many they are."""
    spans: list[Span] = []
    for moment_s in moments_s:
        if spans and moment_s - spans[-1].end_s <= _MERGE_S:
            start = spans.pop()
            spans.append(Span(start.start_s, moment_s, start.worst + 1, start.worst_s))
        else:
            spans.append(Span(moment_s, moment_s, 1, moment_s))
    return tuple(spans)


def spans_over(ends_s: FloatArray, values: FloatArray, limit: float, step_s: float) -> tuple[Span, ...]:
    """Where *values* lie above *limit*, as shown with one decimal, the worst first.

    ends_s, values: shape (n,); each value belongs to the *step_s* seconds that end there.
    """
    hits = np.flatnonzero(are_over(values, limit))
    if not hits.size:
        return ()
    breaks = np.flatnonzero(np.diff(ends_s[hits]) > _MERGE_S + step_s) + 1
    found = [_span(ends_s, values, run, step_s) for run in np.split(hits, breaks)]
    return worst_first(found)


def worst_first(spans: Iterable[Span]) -> tuple[Span, ...]:
    return tuple(sorted(spans, key=lambda span: (-span.worst, span.start_s)))


def _span(ends_s: FloatArray, values: FloatArray, run: NDArray[np.intp], step_s: float) -> Span:
    worst = run[int(np.argmax(values[run]))]
    return Span(
        max(0.0, float(ends_s[run[0]]) - step_s),
        float(ends_s[run[-1]]),
        float(values[worst]),
        float(ends_s[worst]),
    )
