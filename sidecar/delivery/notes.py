"""What should be looked at before a file is delivered, though no loudness goal refuses it.

Thresholds are ours unless a source is named.
"""

from __future__ import annotations

from collections.abc import Iterator

from sidecar.delivery.dropouts import dropouts
from sidecar.delivery.facts import CLIP_SAMPLES, Facts
from sidecar.delivery.findings import Finding, Span, time_code, worst_first
from sidecar.delivery.measure import Measured
from sidecar.delivery.remedy import excess
from sidecar.goals import Goal
from sidecar.vocabulary import SILENCE, decibel, figure

INVERTED = -0.95
"""Ours: two channels that are so much the opposite of each other are one channel turned round."""
DC_OFFSET = 0.001
"""Ours: 0.1 % of full scale, −60 dBFS; converters and processors that work leave less."""
_EDGE_S = 0.1
"""Silence that comes so near to an end of the file is its head or tail."""
_LOSSY = ("VORBIS", "OPUS", "MPEG")
"""How libsndfile's names of lossy encodings begin."""


def notes(measured: Measured, goal: Goal) -> list[Finding]:
    """Everything worth a look, what is surely wrong first."""
    return [
        Finding("note", about, sentence, spans)
        for about, sentence, spans in (
            *_damage(measured),
            *_channels(measured),
            *_silences(measured.facts, measured.reading.seconds),
            *_dropouts(measured),
            *_guidance(measured, goal),
        )
    ]


Note = tuple[str, str, tuple[Span, ...]]


def _damage(measured: Measured) -> Iterator[Note]:
    facts, bad = measured.facts, measured.reading.bad_samples
    if bad:
        yield "damage", f"{bad:,} samples are not numbers; they were measured as silence.", ()
    if facts.clipped_runs and facts.first_clip_at_s is not None:
        yield (
            "clipping",
            f"Clipped in {facts.clipped_runs:,} {_plural('place', facts.clipped_runs)}, first at "
            f"{time_code(facts.first_clip_at_s)}: {CLIP_SAMPLES} samples or more in a row at full scale.",
            (),
        )


def _channels(measured: Measured) -> Iterator[Note]:
    facts = measured.facts
    dead = [str(k + 1) for k, peak in enumerate(facts.sample_peak) if peak == SILENCE]
    if dead and len(dead) < measured.channels:
        yield "dead channel", f"{_channel_list(dead)} holds nothing but digital silence.", ()
    if facts.identical_channels and not dead:
        yield (
            "dual mono",
            "Both channels hold the same samples: it is mono on two channels, which read 3.0 LU more than "
            "one (BS.1770-5 Annex 1).",
            (),
        )
    if facts.correlation is not None and facts.correlation <= INVERTED:
        yield (
            "inverted channel",
            f"One channel is the other turned round (correlation {_minus(facts.correlation)}): played in "
            "mono it cancels.",
            (),
        )
    offsets = [(k + 1, mean) for k, mean in enumerate(facts.dc_offset) if abs(mean) >= DC_OFFSET]
    if offsets:
        each = ", ".join(f"channel {k} {figure(decibel(abs(mean)))} dBFS" for k, mean in offsets)
        yield "dc offset", f"A constant offset takes headroom: {each}.", ()


def _silences(facts: Facts, seconds: float) -> Iterator[Note]:
    found = [Span(s.start_s, s.start_s + s.length_s, s.length_s, s.start_s) for s in facts.silences]
    whole = [span for span in found if span.start_s < _EDGE_S and span.end_s > seconds - _EDGE_S]
    if whole:
        return
    for span in found:
        if span.start_s < _EDGE_S:
            yield "silence", f"It begins with {figure(span.worst)} s of digital silence.", ()
        elif span.end_s > seconds - _EDGE_S:
            yield "silence", f"It ends with {figure(span.worst)} s of digital silence.", ()
    inside = worst_first(s for s in found if s.start_s >= _EDGE_S and s.end_s <= seconds - _EDGE_S)
    if inside:
        count = len(inside)
        yield (
            "silence",
            f"Digital silence inside the programme in {count} {_plural('place', count)}, the longest "
            f"{figure(inside[0].worst)} s.",
            inside,
        )


def _dropouts(measured: Measured) -> Iterator[Note]:
    for numbers, spans in dropouts(measured).items():
        everyone = len(numbers) == measured.channels
        whose = "Every channel" if everyone else _channel_list([str(number) for number in numbers])
        count = f"{len(spans)} {_plural('place', len(spans))}"
        sentence = f"{whose} drops out in {count}: digital silence with sound right before and after."
        yield "dropout", sentence, worst_first(spans)


def _guidance(measured: Measured, goal: Goal) -> Iterator[Note]:
    reading, guide = measured.reading, goal.range_guide_lu
    if guide is not None and excess(reading.loudness_range, guide) > 0:
        # Tech 3343 §3.3: the loudness range is guidance, never a reason to refuse a programme.
        yield (
            "range",
            f"For guidance: the loudness range of {figure(reading.loudness_range)} LU is wider than "
            f"{figure(guide)} LU.",
            (),
        )
    if measured.facts.encoding.startswith(_LOSSY):
        yield (
            "encoding",
            "Its encoding is lossy: other decoders, and a further encoding, may peak higher "
            "(Tech 3343 §11.2.3 asks for more headroom there).",
            (),
        )


def _minus(correlation: float) -> str:
    return f"{correlation:.2f}".replace("-", "−")


def _plural(word: str, count: int) -> str:
    return word if count == 1 else f"{word}s"


def _channel_list(numbers: list[str]) -> str:
    if len(numbers) == 1:
        return f"Channel {numbers[0]}"
    return f"Each of channels {', '.join(numbers[:-1])} and {numbers[-1]}"
