"""What should be looked at before a file is delivered, though no loudness goal refuses it.

Thresholds are ours unless a source is named.
"""

from __future__ import annotations

from collections.abc import Iterator

from sidecar.delivery.judge.dropouts import dropouts
from sidecar.delivery.judge.findings import Finding, Span, length, spans_of, worst_first
from sidecar.delivery.measure.facts import CLIP_SAMPLES, CLIPS_LISTED, MOST_GAPS, MOST_HELD, Facts
from sidecar.delivery.measure.whole_file import Measured
from sidecar.loudness.limits import is_over
from sidecar.model.readings import SILENCE
from sidecar.model.units import decibel, figure
from sidecar.settings.goals import Goal

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
            *((remark.about, remark.sentence, ()) for remark in measured.remarks),
            *_clips(measured),
            *_channels(measured),
            *_silences(measured.facts, measured.reading.seconds),
            *_dropouts(measured),
            *_held(measured.facts),
            *_guidance(measured, goal),
        )
    ]


Note = tuple[str, str, tuple[Span, ...]]


def _clips(measured: Measured) -> Iterator[Note]:
    facts = measured.facts
    if facts.first_clip_at_s is not None:
        places = spans_of(facts.clips_at_s)
        several = len(places) > 1
        first = measured.clock.words(facts.first_clip_at_s)
        listed = (
            f" The first {CLIPS_LISTED} of them:" if several and facts.clipped_runs > CLIPS_LISTED else ""
        )
        yield (
            "clipping",
            f"Clipped in {_places(facts.clipped_runs)}, first at {first}: "
            f"{CLIP_SAMPLES} samples or more in a row at full scale.{listed}",
            places if several else (),
        )


def _channels(measured: Measured) -> Iterator[Note]:
    facts, names = measured.facts, measured.channel_names
    dead = [name for name, peak in zip(names, facts.sample_peak, strict=True) if peak == SILENCE]
    if dead and len(dead) < measured.channels:
        yield "dead channel", f"{_channel_list(dead)} is digital silence only.", ()
    if facts.identical_channels and not dead:
        yield (
            "dual mono",
            "Both channels are identical: dual mono. It reads 3.0 LU more than mono (BS.1770-5 Annex 1).",
            (),
        )
    if facts.correlation is not None and facts.correlation <= INVERTED:
        yield (
            "inverted channel",
            f"One channel is the other inverted (correlation {_minus(facts.correlation)}): in mono it "
            "cancels.",
            (),
        )
    offsets = [pair for pair in zip(names, facts.dc_offset, strict=True) if abs(pair[1]) >= DC_OFFSET]
    if offsets:
        each = ", ".join(f"{name} {figure(decibel(abs(mean)))} dBFS" for name, mean in offsets)
        yield "dc offset", f"A DC offset takes headroom: {each}.", ()


def _silences(facts: Facts, seconds: float) -> Iterator[Note]:
    found = [Span(s.start_s, s.start_s + s.length_s, s.length_s, s.start_s) for s in facts.silences]
    whole = [span for span in found if span.start_s < _EDGE_S and span.end_s > seconds - _EDGE_S]
    if whole:
        return
    for span in found:
        if span.start_s < _EDGE_S:
            yield "silence", f"It starts with {figure(span.worst)} s of digital silence.", ()
        elif span.end_s > seconds - _EDGE_S:
            yield "silence", f"It ends with {figure(span.worst)} s of digital silence.", ()
    inside = worst_first(s for s in found if s.start_s >= _EDGE_S and s.end_s <= seconds - _EDGE_S)
    if inside:
        yield (
            "silence",
            f"Digital silence inside the programme in {_places(len(inside))}, the longest "
            f"{figure(inside[0].worst)} s.",
            inside,
        )


def _dropouts(measured: Measured) -> Iterator[Note]:
    least = "at least " if len(measured.facts.gaps) == MOST_GAPS else ""
    for channels, spans in dropouts(measured).items():
        everyone = len(channels) == measured.channels
        whose = "Every channel" if everyone else _channel_list([measured.channel_names[k] for k in channels])
        worst = worst_first(spans)
        longest = length(worst[0].worst)
        how_long = f"of {longest}" if len(spans) == 1 else f"of up to {longest}"
        yield (
            "dropout",
            f"{whose} drops out in {least}{_places(len(spans))} {how_long}: exact zeros amid sound. Audio "
            "was lost, unless an edit made them.",
            worst,
        )


def _held(facts: Facts) -> Iterator[Note]:
    if not 0 < len(facts.held) <= MOST_HELD:
        return
    spans = worst_first(
        Span(held.start_s, held.start_s + held.length_s, held.length_s, held.start_s) for held in facts.held
    )
    longest = length(spans[0].worst)
    how_long = f"for {longest}" if len(spans) == 1 else f"for up to {longest}"
    yield (
        "held samples",
        f"All channels repeat one value {how_long} in {_places(len(spans))}. Samples were "
        "repeated or damaged, unless the sound is like that.",
        spans,
    )


def _guidance(measured: Measured, goal: Goal) -> Iterator[Note]:
    reading, guide = measured.reading, goal.range_guide_lu
    if guide is not None and is_over(reading.loudness_range, guide):
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
            "Its coding is lossy. Other decoders and further coding may peak higher (Tech 3343 §11.2.3).",
            (),
        )


def _minus(correlation: float) -> str:
    return f"{correlation:.2f}".replace("-", "−")


def _places(count: int) -> str:
    return f"{count:,} {'place' if count == 1 else 'places'}"


def _channel_list(names: list[str]) -> str:
    if len(names) == 1:
        return f"Channel {names[0]}"
    return f"Each of channels {', '.join(names[:-1])} and {names[-1]}"
