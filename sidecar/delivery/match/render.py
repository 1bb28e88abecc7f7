"""Copies of sound files at another gain: same format, same metadata, dithered, measured again.

A WAV, RF64 or BW64 file keeps every chunk that still holds; other formats keep what libsndfile knows as
text. Only lossless encodings are written: a second coding with loss would change more than the gain.
"""

from __future__ import annotations

import io
import os
import shutil
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.whole_file import Measured, measure
from sidecar.errors import SourceError
from sidecar.sources.sound_file import name_for_library
from sidecar.wave.bext import HISTORY_AT, Claimed, new_bext, with_history, with_loudness
from sidecar.wave.bext_write import Seen, fill
from sidecar.wave.chunks import Wave, is_wave, naming, read_chunk, walk
from sidecar.wave.file_identity import unchanged
from sidecar.wave.rewrite import NewChunk, Part, refuse_without_room, replacing, write_anew
from sidecar.wave.view import view

_BLOCK_FRAMES = 65_536
_MOST_BEXT_BYTES = 1 << 20
_WHOLE_NUMBER_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
_FLOATING_BITS = {"FLOAT": 32, "DOUBLE": 64}
_ABOUT_THE_SAMPLES = (b"PEAK", b"levl", b"MD5 ")
"""Chunks that hold peaks, an overview or a sum of the samples (Tech 3285 supplement 3 for ``levl``, the
others by common practice, no source): they are not true of a copy at another gain."""


def render(
    source: Path,
    target: Path,
    gain_db: float,
    layout: str | None = None,
    progress: Callable[[float], None] = lambda _share: None,
    workers: int | None = None,
    seen: Seen | None = None,
) -> Measured:
    """Writes *source* at *gain_db* to *target*, and gives what the finished copy measures; *layout* and
    *workers* are as in the measuring.

    Whole-number samples get triangular dither of two steps' width (Lipshitz, Wannamaker and Vanderkooy,
    J. Audio Eng. Soc. 40(5), 1992, from memory), from a generator whose seed is the CRC-32 of the source's
    name: the same file gives the same copy, and no two files share their noise. Without gain the samples
    are copied as they are. A WAV is given its own loudness fields. *target* appears when all is done.

    seen: by what the source was known when its gain was worked out.
    Raises SourceError when the file changes or has changed, cannot be read, holds audio that was coded
    with loss, or cannot be written.
    """
    with naming(source):
        refuse_without_room(target.parent, source.stat().st_size)
        with replacing(target) as part, unchanged(source, seen):
            if is_wave(source):
                _render_wave(source, part, gain_db, lambda share: progress(share / 2))
            else:
                _render_other(source, part, gain_db, lambda share: progress(share / 2))
            shutil.copymode(source, part)
            measured = measure(part, layout, lambda share: progress((1 + share) / 2), workers=workers)
            if is_wave(part):
                fill(part, Claimed.of(measured.reading))
    return replace(measured, file=str(target))


def copies(
    files: Sequence[Path], folder: Path, kept: Sequence[Path], may_replace: bool
) -> list[Path | SourceError]:
    """Where the copy of each file goes, or why it cannot go there: never onto one of *kept*, by no name."""
    targets: list[Path | SourceError] = []
    for file in files:
        target = folder / file.name
        targets.append(_refusal(target, kept, targets, may_replace) or target)
    return targets


def _refusal(
    target: Path, kept: Sequence[Path], taken: Sequence[Path | SourceError], may_replace: bool
) -> SourceError | None:
    if any(_same(target, original) for original in kept):
        return SourceError(f"{target} is an original. Copies need a folder of their own: choose another.")
    if target in taken:
        return SourceError(f"{target} would be written twice: two files have that name. Rename one.")
    if os.path.lexists(target) and not may_replace:
        return SourceError(f"{target} is there already. Give --replace, or choose another folder.")
    return None


def _same(target: Path, original: Path) -> bool:
    try:
        return target.samefile(original)
    except OSError:
        return False


def _render_wave(source: Path, part: Path, gain_db: float, progress: Callable[[float], None]) -> None:
    with source.open("rb") as old, part.open("wb") as new, _opened(source) as sound:
        wave = walk(old)
        data = _new_data(sound, wave, gain_db, source.name, progress)
        bext = _new_bext(old, wave, _history_line(sound, gain_db))
        parts: list[Part] = []
        for chunk in wave.chunks:
            if chunk.name == b"data":
                parts += [data] if wave.only(b"bext") else [bext, data]
            elif chunk.name == b"bext":
                parts.append(bext)
            elif not gain_db or chunk.name not in _ABOUT_THE_SAMPLES:
                parts.append(chunk)
        write_anew(new, old, wave, parts)


def _new_data(
    sound: Any, wave: Wave, gain_db: float, name: str, progress: Callable[[float], None]
) -> NewChunk:
    bits = _WHOLE_NUMBER_BITS.get(sound.subtype) or _FLOATING_BITS[sound.subtype]
    frame_bytes = sound.channels * bits // 8
    size = sound.frames * frame_bytes
    if not 0 <= wave.data.size - size < frame_bytes:
        raise SourceError(f"its samples are not packed as {bits} bit samples are. Export it again.")
    return NewChunk(b"data", size, _encoded(sound, _levelled(sound, gain_db, name, progress)))


def _new_bext(old: io.BufferedReader, wave: Wave, history_line: str) -> NewChunk:
    """The loudness is left open: it is measured when the copy is complete."""
    chunk = wave.only(b"bext")
    if chunk is not None and chunk.size > _MOST_BEXT_BYTES:
        raise SourceError(f"its bext chunk has {chunk.size} bytes: it is damaged. Export it again.")
    content = new_bext(Claimed())
    if chunk is not None:
        content = with_loudness(read_chunk(old, chunk, _MOST_BEXT_BYTES), Claimed()).ljust(HISTORY_AT, b"\0")
    if history_line:
        content = with_history(content, history_line)
    return NewChunk(b"bext", len(content), [content])


def _history_line(sound: Any, gain_db: float) -> str:
    """As EBU R 98 writes one (from memory): coding, rate, word length, mode, free text."""
    if not gain_db:
        return ""
    bits = _WHOLE_NUMBER_BITS.get(sound.subtype)
    mode = {1: ",M=mono", 2: ",M=stereo"}.get(sound.channels, "")
    dither = "; TPDF dither" if bits else ""
    word_bits = bits or _FLOATING_BITS[sound.subtype]
    return f"A=PCM,F={sound.samplerate},W={word_bits}{mode},T=gain {gain_db:+.2f} dB{dither}"


def _render_other(source: Path, part: Path, gain_db: float, progress: Callable[[float], None]) -> None:
    import soundfile

    with _opened(source) as old:
        shape = {"samplerate": old.samplerate, "channels": old.channels}
        coding = {"format": old.format, "subtype": old.subtype, "endian": old.endian}
        try:
            with soundfile.SoundFile(name_for_library(part), "w", **shape, **coding) as new:
                for name, text in old.copy_metadata().items():
                    setattr(new, name, text)
                for block in _levelled(old, gain_db, source.name, progress):
                    new.write(block)
        except RuntimeError as error:
            raise SourceError(
                f"{old.format} cannot be written like this ({error}). Convert it to WAV."
            ) from error


def _opened(source: Path) -> Any:
    import soundfile

    try:
        sound = soundfile.SoundFile(view(source) or name_for_library(source))
    except (RuntimeError, TypeError) as error:  # TypeError: headerless samples
        raise SourceError(f"it cannot be read ({error}). Export it again.") from error
    if sound.subtype in _WHOLE_NUMBER_BITS or sound.subtype in _FLOATING_BITS:
        return sound
    subtype = sound.subtype
    sound.close()
    raise SourceError(
        f"its audio is coded as {subtype}: a copy would be coded a second time. "
        "Give it the gain before it is coded, in the workstation."
    )


def _levelled(
    sound: Any, gain_db: float, name: str, progress: Callable[[float], None]
) -> Iterator[NDArray[Any]]:
    """The samples at their new gain, as libsndfile takes them: int32 for whole numbers, else float64."""
    bits = _WHOLE_NUMBER_BITS.get(sound.subtype)
    random = np.random.default_rng(zlib.crc32(os.fsencode(name))) if gain_db else None
    factor = 10.0 ** (gain_db / 20.0)
    done = 0
    for frames in sound.blocks(_BLOCK_FRAMES, dtype="float64", always_2d=True):
        yield frames * factor if bits is None else _whole_numbers(frames * factor, bits, random)
        done += len(frames)
        progress(done / sound.frames)


def _whole_numbers(
    frames: NDArray[np.float64], bits: int, random: np.random.Generator | None
) -> NDArray[np.int32]:
    """Full scale 1.0 to *bits*, in the upper bits of an int32; dithered where there is a generator."""
    half = 2.0 ** (bits - 1)
    steps = frames * half
    if random is not None:
        steps += random.random(steps.shape) - random.random(steps.shape)
    whole = np.clip(np.rint(steps), -half, half - 1.0)
    return (whole * 2.0 ** (32 - bits)).astype(np.int32)


def _encoded(sound: Any, blocks: Iterator[NDArray[Any]]) -> Iterator[bytes]:
    """The bytes of a WAV's samples."""
    import soundfile

    for block in blocks:
        raw = io.BytesIO()
        soundfile.write(raw, block, sound.samplerate, sound.subtype, "LITTLE", "RAW")
        yield raw.getvalue()
