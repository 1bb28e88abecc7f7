"""Copies of WAV, RF64 and BW64 files: every chunk that still holds, loudness fields to be filled in."""

from __future__ import annotations

from typing import BinaryIO

from sidecar.delivery.match.copy_samples import ABOUT_THE_SAMPLES, FLOATING_BITS, Samples, in_words
from sidecar.delivery.match.playback_gains import MOST_ID3_BYTES, without_id3_gains
from sidecar.errors import SourceError
from sidecar.wave.bext import (
    HISTORY_AT,
    LOUDNESS_AT,
    UMID_AT,
    Claimed,
    new_bext,
    with_history,
    with_loudness,
    without_umid,
)
from sidecar.wave.chunks import Wave, read_chunk, walk
from sidecar.wave.rewrite import NewChunk, Part, write_anew

_MOST_BEXT_BYTES = 1 << 20


def copy_wave(source: BinaryIO, target: BinaryIO, samples: Samples) -> list[str]:
    """Writes the copy, its loudness left open; gives what was left out, in words.

    Raises SourceError for a file that contradicts itself or that would outgrow its form.
    """
    wave = walk(source)
    data = _new_data(samples, wave)
    old_bext = _old_bext(source, wave)
    bext = _new_bext(old_bext, samples)
    parts: list[Part] = []
    left_out = ["UMID"] if samples.gain_db and _has_umid(old_bext) else []
    for chunk in wave.chunks:
        if chunk.name == b"data":
            parts += [data] if old_bext else [bext, data]
        elif chunk.name == b"bext":
            parts.append(bext)
        elif samples.gain_db and chunk.name in ABOUT_THE_SAMPLES:
            left_out.append(in_words(chunk.name))
        elif samples.gain_db and chunk.name.lower() == b"id3 " and chunk.size <= MOST_ID3_BYTES:
            tag, gone = without_id3_gains(read_chunk(source, chunk, chunk.size))
            parts.append(NewChunk(chunk.name, len(tag), [tag]) if gone else chunk)
            left_out += gone
        else:
            parts.append(chunk)
    write_anew(target, source, wave, parts)
    return left_out


def _new_data(samples: Samples, wave: Wave) -> NewChunk:
    frame_bytes, size = samples.frame_bytes, samples.total_bytes
    if not 0 <= wave.data.size - size < frame_bytes:
        bits = samples.bits or FLOATING_BITS[samples.sound.subtype]
        raise SourceError(f"its samples are not packed as {bits} bit samples are. Export it again.")
    return NewChunk(b"data", size, samples.packed("LITTLE"))


def _old_bext(source: BinaryIO, wave: Wave) -> bytes:
    """The content of the chunk; empty where there is none."""
    chunk = wave.only(b"bext")
    if chunk is None:
        return b""
    if chunk.size > _MOST_BEXT_BYTES:
        raise SourceError(f"its bext chunk has {chunk.size} bytes: it is damaged. Export it again.")
    return read_chunk(source, chunk, _MOST_BEXT_BYTES)


def _new_bext(old: bytes, samples: Samples) -> NewChunk:
    """The loudness is left open: it is measured when the copy is complete."""
    content = new_bext(Claimed())
    if old:
        content = with_loudness(old, Claimed()).ljust(HISTORY_AT, b"\0")
    if samples.gain_db:
        content = with_history(without_umid(content), _history_line(samples))
    return NewChunk(b"bext", len(content), [content])


def _has_umid(bext: bytes) -> bool:
    return bool(bext) and any(with_loudness(bext, Claimed())[UMID_AT:LOUDNESS_AT])


def _history_line(samples: Samples) -> str:
    """As EBU R 98 writes one (from memory): coding, rate, word length, mode, free text."""
    sound = samples.sound
    mode = {1: ",M=mono", 2: ",M=stereo"}.get(sound.channels, "")
    dither = "; TPDF dither" if samples.bits else ""
    word_bits = samples.bits or FLOATING_BITS[sound.subtype]
    return f"A=PCM,F={sound.samplerate},W={word_bits}{mode},T=gain {samples.gain_db:+.2f} dB{dither}"
