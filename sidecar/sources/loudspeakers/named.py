"""Reading the loudspeakers that a file names: bytes in, positions out."""

from __future__ import annotations

import re
import struct
from collections.abc import Mapping, Sequence
from typing import BinaryIO, NamedTuple

from sidecar.sources.loudspeakers.chunks import chunks_before_audio, content
from sidecar.sources.loudspeakers.orders import (
    CHANNEL_LABELS,
    FLAC_ORDERS,
    LAYOUT_TAGS,
    VORBIS_ORDERS,
    of_mask,
    placed,
)

_EXTENSIBLE = 0xFFFE
_MASK_AT = 20
"""In the ``fmt `` chunk of WAVE_FORMAT_EXTENSIBLE."""
_BY_DESCRIPTIONS, _BY_MASK = 0, 1 << 16
"""Layout tags of a ``chan`` chunk that are none: labels follow one by one, or the mask counts."""
_DESCRIPTION = struct.Struct(">II3f")
_FLAC_MASK = re.compile(rb"WAVEFORMATEXTENSIBLE_CHANNEL_MASK=0x([0-9A-F]+)", re.IGNORECASE)
_COMMENT, _LAST = 4, 0x80
"""Types of FLAC's metadata blocks, and the mark of the last one (RFC 9639 §8.1)."""
_HEAD_BYTES = 1 << 16
_MOST_COMMENT_BYTES = 1 << 22
_MOST_BLOCKS = 4096
_ID3_FOOTER = 0x10


class Named(NamedTuple):
    """What a file says of its loudspeakers."""

    positions: tuple[str, ...] | None = None
    """In the order of the channels; None where it names none that can be used."""
    doubt: str = ""
    """What is wrong with what it says, in words; the file is "it"."""


def named_loudspeakers(file: BinaryIO, channels: int) -> Named:
    """What an open sound file of so many channels says of its loudspeakers."""
    file.seek(0)
    start = _id3_bytes(file.read(10))
    file.seek(start)
    head = file.read(_HEAD_BYTES)
    if head[:4] == b"fLaC":
        return _of_flac(file, start, channels)
    if head[:4] == b"OggS":
        return Named(_of_ogg(head, channels))
    order = ">" if head[:4] == b"RIFX" else "<"
    for chunk in chunks_before_audio(file):
        if chunk.name == b"fmt ":
            return _of_format(content(file, chunk), order, channels)
        if chunk.name in (b"chan", b"CHAN"):
            return _of_channel_chunk(content(file, chunk), channels)
    return Named()


def _of_format(fmt: bytes, order: str, channels: int) -> Named:
    """A ``fmt `` chunk; a mask of 0 names no loudspeakers, as its definition has it."""
    if len(fmt) < _MASK_AT + 4 or struct.unpack_from(f"{order}H", fmt)[0] != _EXTENSIBLE:
        return Named()
    (mask,) = struct.unpack_from(f"{order}I", fmt, _MASK_AT)
    return Named() if mask == 0 else _by_mask(mask, channels)


def _by_mask(mask: int, channels: int) -> Named:
    count = mask.bit_count()
    fits = "" if count == channels else f"Its channel mask 0x{mask:X} names {count} loudspeakers"
    return Named(of_mask(mask, channels), fits)


def _id3_bytes(head: bytes) -> int:
    """The length of the ID3v2 tag that some put in front of a FLAC (its sizes have 7 bits a byte; from
    memory), 0 where there is none."""
    if len(head) < 10 or head[:3] != b"ID3":
        return 0
    size = sum(byte << 7 * (3 - k) for k, byte in enumerate(head[6:10]))
    return 10 + size + (10 if head[5] & _ID3_FOOTER else 0)


def _of_flac(file: BinaryIO, start: int, channels: int) -> Named:
    """A mask among the tags comes before the usual order (RFC 9639 §8.6.2)."""
    comment = _flac_comment(file, start + 4)
    written = _FLAC_MASK.search(comment)
    mask = int(written[1], 16) if written else 0
    if mask:
        return _by_mask(mask, channels)
    return Named(_in_order(FLAC_ORDERS, channels))


def _flac_comment(file: BinaryIO, place: int) -> bytes:
    """The block of tags. place: where the first block begins."""
    kind = 0
    for _ in range(_MOST_BLOCKS):
        if kind & _LAST:
            break
        file.seek(place)
        header = file.read(4)
        if len(header) < 4:
            break
        kind, size = header[0], int.from_bytes(header[1:], "big")
        if kind & ~_LAST == _COMMENT:
            return file.read(min(size, _MOST_COMMENT_BYTES))
        place += 4 + size
    return b""


def _of_ogg(head: bytes, channels: int) -> tuple[str, ...] | None:
    """The first packet of the first stream says what is in it."""
    packet = head[27 + head[26] :] if len(head) > 26 else b""
    if packet[:7] == b"\x01vorbis":
        return _in_order(VORBIS_ORDERS, channels)
    if packet[:5] == b"\x7fFLAC":
        return _in_order(FLAC_ORDERS, channels)
    if packet[:8] == b"OpusHead" and len(packet) > 18 and packet[18] in (0, 1):
        # Families 2 and 3 are Ambisonics (RFC 8486), 255 names nothing (RFC 7845 §5.1.1).
        return _in_order(VORBIS_ORDERS, channels)
    return None


def _of_channel_chunk(chunk: bytes, channels: int) -> Named:
    """The ``chan`` chunk of CAF and the ``CHAN`` of AIFF."""
    if len(chunk) < 12:
        return Named()
    tag, mask, described = struct.unpack_from(">III", chunk)
    if tag == _BY_MASK:
        return _by_mask(mask, channels)
    if tag == _BY_DESCRIPTIONS:
        fitting = (len(chunk) - 12) // _DESCRIPTION.size
        labels = [
            _DESCRIPTION.unpack_from(chunk, 12 + k * _DESCRIPTION.size)[0]
            for k in range(min(described, fitting))
        ]
        names = [CHANNEL_LABELS.get(label, "") for label in labels]
    else:
        names = list(LAYOUT_TAGS.get(tag, ()))
    if len(names) != channels or not all(names):
        return Named(None, "Its channel layout chunk names no loudspeakers that are known")
    return Named(placed(names))


def _in_order(orders: Mapping[int, Sequence[str]], channels: int) -> tuple[str, ...] | None:
    order = orders.get(channels)
    return None if order is None else placed(order)
