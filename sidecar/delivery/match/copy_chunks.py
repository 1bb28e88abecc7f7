"""Copies of AIFF, CAF, W64 and AU files: every byte of the source but those of its samples.

Sources: the published specifications of AIFF/AIFF-C 1.3 and of the Core Audio Format, from memory; the
layouts of W64 and AU by common practice, no source. Chunks that describe the old samples are left out.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import BinaryIO, Literal

from sidecar.delivery.match.copy_samples import ABOUT_THE_SAMPLES, Samples, in_words
from sidecar.delivery.match.playback_gains import MOST_ID3_BYTES, without_id3_gains
from sidecar.errors import SourceError
from sidecar.wave.bext import Claimed, with_loudness, without_umid

_COPIED_BYTES = 1 << 22
_PROVEN_FRAMES = 65_536
_MOST_CHUNKS = 4096
_MOST_BEXT_BYTES = 1 << 20
_W64_TAIL = bytes.fromhex("f3acd311 8cd100c0 4f8edb8a")
"""Behind the four letters of each W64 chunk but the first."""
_ByteOrder = Literal["big", "little"]
_ReadHeader = Callable[[bytes], tuple[bytes, int, int, int]]
"""From 24 bytes a chunk's name, its size, the bytes of its header and the unit that sizes fill up to."""


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of a file with a name: a chunk, its header and padding included, or what is between."""

    name: bytes
    start: int
    stop: int
    content: int
    """Where its content begins."""


@dataclass(frozen=True, slots=True)
class Container:
    """A file as its sections, in order and without gaps."""

    sections: tuple[Section, ...]
    audio: int
    """The place of the first sample."""
    size_field: tuple[int, int, _ByteOrder] | None = None
    """Place, bytes and byte order of the number that the sections' sizes add up to, if there is one."""


def copy_chunks(source: BinaryIO, target: BinaryIO, samples: Samples) -> list[str]:
    """Writes the copy; gives what was left out, in words.

    Raises SourceError for a file that contradicts itself or whose samples are packed in another way.
    """
    container = container_of(source, samples.sound.format)
    audio, size, order = container.audio, samples.total_bytes, _byte_order(source, samples)
    holder = next(part for part in container.sections if part.start <= audio < part.stop)
    if audio + size > holder.stop:
        raise SourceError("its audio is shorter than its header states. Export it again.")
    source.seek(audio)
    samples.refuse_other_packing(source.read(min(size, _PROVEN_FRAMES * samples.frame_bytes)), order)
    left_out, shorter = [], 0
    for part in container.sections:
        if samples.gain_db and part.name in ABOUT_THE_SAMPLES:
            left_out.append(in_words(part.name))
            shorter += part.stop - part.start
        elif part is holder:
            copy_bytes(source, target, part.start, audio)
            for piece in samples.packed(order):
                target.write(piece)
            copy_bytes(source, target, audio + size, part.stop)
        elif samples.gain_db and part.name == b"ID3 " and part.stop - part.start <= MOST_ID3_BYTES:
            left_out += _write_id3(source, target, part)
        elif part.name == b"bext":
            _write_bext(source, target, part, keeps_umid=not samples.gain_db)
        else:
            copy_bytes(source, target, part.start, part.stop)
    if shorter and container.size_field:
        _lower(source, target, container.size_field, shorter)
    return left_out


def copy_coded_caf(source: BinaryIO, target: BinaryIO, coded: BinaryIO, samples: Samples) -> list[str]:
    """As :func:`copy_chunks` for a CAF whose audio is coded in packets: *coded* is a CAF of the new ones.

    Its description, decoder settings, packet table and audio take the place of the source's; a chunk of
    the source that *coded* has not is kept.
    """
    old, new = container_of(source, "CAF"), container_of(coded, "CAF")
    fresh = {part.name: part for part in new.sections if part.name in (b"desc", b"kuki", b"pakt", b"data")}
    left_out: list[str] = []
    for part in old.sections:
        if part.name in fresh:
            replacement = fresh.pop(part.name)
            if part.name == b"data":  # what the source has no place for must come before the audio
                for early in [fresh.pop(name) for name in list(fresh)]:
                    copy_bytes(coded, target, early.start, early.stop)
            copy_bytes(coded, target, replacement.start, replacement.stop)
        elif samples.gain_db and part.name in ABOUT_THE_SAMPLES:
            left_out.append(in_words(part.name))
        else:
            copy_bytes(source, target, part.start, part.stop)
    return left_out


def container_of(file: BinaryIO, form: str) -> Container:
    """The sections of an open file; form: libsndfile's AIFF, CAF, W64 or AU."""
    return {"AIFF": _aiff, "CAF": _caf, "W64": _w64, "AU": _au}[form](file)


def copy_bytes(source: BinaryIO, target: BinaryIO, start: int, stop: int) -> None:
    """Appends these bytes of *source* to *target*."""
    source.seek(start)
    while start < stop:
        piece = source.read(min(stop - start, _COPIED_BYTES))
        if not piece:
            raise SourceError("it became shorter during the copy. Wait until no program writes to it.")
        target.write(piece)
        start += len(piece)


def _aiff(file: BinaryIO) -> Container:
    """A FORM: four letters and a big-endian 32 bit size before each chunk, filled up to even sizes."""
    parts = list(_chunks(file, 12, lambda head: (head[:4], int.from_bytes(head[4:8], "big"), 8, 2)))
    sound = _one(parts, b"SSND")
    file.seek(sound.content)
    return Container(
        (Section(b"", 0, 12, 0), *parts),
        sound.content + 8 + int.from_bytes(file.read(4), "big"),
        (4, 4, "big"),
    )


def _caf(file: BinaryIO) -> Container:
    """Four letters and a big-endian 64 bit size before each chunk."""
    parts = list(_chunks(file, 8, lambda head: (head[:4], int.from_bytes(head[4:12], "big"), 12, 1)))
    return Container((Section(b"", 0, 8, 0), *parts), _one(parts, b"data").content + 4)


def _w64(file: BinaryIO) -> Container:
    """A GUID and a little-endian 64 bit size, both counted in, before each chunk, filled up to eighths."""

    def chunk(head: bytes) -> tuple[bytes, int, int, int]:
        name = head[:4] if head[4:16] == _W64_TAIL else head[:16]
        return name, int.from_bytes(head[16:24], "little") - 24, 24, 8

    parts = list(_chunks(file, 40, chunk))
    return Container((Section(b"", 0, 40, 0), *parts), _one(parts, b"data").content, (16, 8, "little"))


def _au(file: BinaryIO) -> Container:
    """A header that says where the audio begins, with room for text behind it."""
    file.seek(0)
    head = file.read(8)
    audio = int.from_bytes(head[4:8], "big" if head[:4] == b".snd" else "little")
    end = _length(file)
    if not 24 <= audio <= end:
        raise SourceError("its header contradicts its size. Export it again.")
    return Container((Section(b"", 0, audio, 0), Section(b"data", audio, end, audio)), audio)


def _chunks(file: BinaryIO, start: int, read: _ReadHeader) -> Iterator[Section]:
    """The chunks from *start* on, and what is behind the last one as a section without a name."""
    end, count = _length(file), 0
    while start < end:
        file.seek(start)
        head = file.read(24)
        name, size, head_bytes, unit = read(head.ljust(24, b"\0"))
        content = start + head_bytes
        count += 1
        if size < 0 or content > end or not any(name) or count > _MOST_CHUNKS:
            yield Section(b"", start, end, start)
            return
        stop = min(end, content + size + -size % unit)
        yield Section(name, start, stop, content)
        start = stop


def _one(parts: Iterable[Section], name: bytes) -> Section:
    found = [part for part in parts if part.name == name]
    if len(found) != 1:
        raise SourceError(f"it has {len(found)} chunks of audio where one is allowed. Export it again.")
    return found[0]


def _length(file: BinaryIO) -> int:
    return file.seek(0, os.SEEK_END)


def _byte_order(source: BinaryIO, samples: Samples) -> str:
    """libsndfile's word for the order of bytes in a sample."""
    source.seek(0)
    little = samples.sound.format == "W64" or source.read(4) == b"dns."
    return "LITTLE" if little or samples.sound.endian == "LITTLE" else "BIG"


def _write_bext(source: BinaryIO, target: BinaryIO, part: Section, *, keeps_umid: bool) -> None:
    """Its loudness is left open: it held for the source."""
    if part.stop - part.start > _MOST_BEXT_BYTES:
        raise SourceError("its bext chunk is damaged. Export it again.")
    source.seek(part.start)
    raw = source.read(part.stop - part.start)
    head, content = (
        raw[: part.content - part.start],
        with_loudness(raw[part.content - part.start :], Claimed()),
    )
    target.write(head + (content if keeps_umid else without_umid(content)))


def _write_id3(source: BinaryIO, target: BinaryIO, part: Section) -> list[str]:
    """Without gains for players, which are given in words."""
    source.seek(part.start)
    raw, head_bytes = source.read(part.stop - part.start), part.content - part.start
    tag, gone = without_id3_gains(raw[head_bytes:])
    target.write(raw[:head_bytes] + tag)
    return gone


def _lower(source: BinaryIO, target: BinaryIO, field: tuple[int, int, _ByteOrder], by: int) -> None:
    place, width, order = field
    source.seek(place)
    size = int.from_bytes(source.read(width), order) - by
    target.seek(place)
    target.write(size.to_bytes(width, order))
    target.seek(0, os.SEEK_END)
