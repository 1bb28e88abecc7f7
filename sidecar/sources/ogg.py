"""The pages of an Ogg file, checked one by one (RFC 3533): whether all that was written is still there.

A decoder passes over what is broken without a word. Here every page's checksum and number is looked at, and
whether each stream begins and ends.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO, NamedTuple

_CAPTURE = b"OggS"
_HEADER_BYTES = 27
_FIRST, _LAST = 2, 4
"""Bits of the header type: the page begins, or ends, its stream."""
_NO_PACKET_ENDS = -1
"""As a granule position: no packet ends on the page (RFC 3533 §6)."""
_REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))
_SEARCH_BYTES = 1 << 16
_AUDIO = (b"\x01vorbis", b"OpusHead", b"\x7fFLAC")
"""How the first packet of an audio stream begins."""


class Page(NamedTuple):
    """A page as it is in the file."""

    place: int
    flags: int
    granule: int
    serial: int
    number: int
    is_whole: bool
    """Whether its checksum is right."""
    begins: bytes
    """The first bytes of its content."""


class Stray(NamedTuple):
    """Bytes that belong to no page."""

    place: int
    size: int


@dataclass(slots=True)
class Stream:
    """One logical stream."""

    is_audio: bool
    next_number: int = 0
    granule: int = 0
    """Of the last page on which a packet ends: how many samples there are up to it."""
    has_ended: bool = False


@dataclass(slots=True)
class OggFile:
    """The facts read from the pages of a file."""

    streams: dict[int, Stream] = field(default_factory=dict)
    """By serial number, in the order in which they begin."""
    faults: list[str] = field(default_factory=list)
    """What is missing or broken, in the file's order; empty for a file that is whole."""
    stray_behind: int = 0
    """Bytes behind the last page, where all streams have ended."""

    @property
    def audio(self) -> list[Stream]:
        return [stream for stream in self.streams.values() if stream.is_audio]


def walk_ogg(file: BinaryIO) -> OggFile:
    """Looks at every page of an open file."""
    found = OggFile()
    stray: Stray | None = None
    for part in _parts(file):
        if stray is not None:
            found.faults.append(f"at byte {stray.place:,} there are {stray.size:,} bytes that are no page")
        stray = None
        if isinstance(part, Stray):
            stray = part
        else:
            _add(found, part)
    ended = all(stream.has_ended for stream in found.streams.values())
    if stray is not None and ended:
        found.stray_behind = stray.size
    elif not ended:
        found.faults.append("it has no page that ends its stream")
    return found


def _add(found: OggFile, page: Page) -> None:
    if not page.is_whole:
        found.faults.append(f"the page at byte {page.place:,} fails its checksum")
    stream = found.streams.get(page.serial)
    if stream is None:
        stream = found.streams[page.serial] = Stream(page.begins.startswith(_AUDIO))
        if not page.flags & _FIRST:
            found.faults.append(f"the stream at byte {page.place:,} has lost its first page")
            stream.next_number = page.number
    if page.number != stream.next_number:
        found.faults.append(
            f"at byte {page.place:,} there is page {page.number}, not page {stream.next_number}"
        )
    stream.next_number = page.number + 1
    if page.granule != _NO_PACKET_ENDS:
        stream.granule = page.granule
    stream.has_ended = bool(page.flags & _LAST)


def _parts(file: BinaryIO) -> Iterator[Page | Stray]:
    """Pages, and what lies between them, from the beginning to the end."""
    place = 0
    file.seek(0)
    while head := file.read(_HEADER_BYTES):
        page = _page(file, place, head)
        if page is None:
            size = _bytes_to_next(file, place + 1) + 1
            yield Stray(place, size)
            place += size
        else:
            yield page
            place = file.tell()
        file.seek(place)


def _page(file: BinaryIO, place: int, head: bytes) -> Page | None:
    """The page that begins there, read to its end; None where none does, or it is cut off."""
    if len(head) < _HEADER_BYTES or head[:4] != _CAPTURE:
        return None
    sizes = file.read(head[26])
    body = file.read(sum(sizes))
    if len(sizes) < head[26] or len(body) < sum(sizes):
        return None
    return Page(
        place,
        head[5],
        int.from_bytes(head[6:14], "little", signed=True),
        int.from_bytes(head[14:18], "little"),
        int.from_bytes(head[18:22], "little"),
        _checksum(head[:22] + bytes(4) + head[26:] + sizes + body) == head[22:26],
        body[:8],
    )


def _checksum(page: bytes) -> bytes:
    """RFC 3533 §6: the polynomial of zlib's CRC, with the bits of each byte in the other order, beginning at
    zero and not inverted at the end."""
    crc = zlib.crc32(page.translate(_REVERSED), 0xFFFF_FFFF) ^ 0xFFFF_FFFF
    return crc.to_bytes(4, "big").translate(_REVERSED)


def _bytes_to_next(file: BinaryIO, start: int) -> int:
    """How many bytes from *start* to where the next page may begin, or to the end."""
    file.seek(start)
    before, tail = 0, b""
    while piece := file.read(_SEARCH_BYTES):
        at = (tail + piece).find(_CAPTURE)
        if at >= 0:
            return before - len(tail) + at
        before += len(piece)
        tail = (tail + piece)[-len(_CAPTURE) + 1 :]
    return before
