"""Tags with a gain for players, by which they play this very audio: wrong for a copy at another gain.

Sources: RFC 9639 §8.6 for the block of comments of FLAC, RFC 7845 §5.2.1 for ``R128_*``; ID3v2.3 and 2.4 from
memory, the names of the other tags by common practice, no source.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator

_NAME = re.compile(r"(?:replaygain|r128)_", re.IGNORECASE)
_GAIN_FRAMES = frozenset((b"RVA2", b"RVAD", b"RGAD"))
_ENCODINGS = ("latin-1", "utf-16", "utf-16-be", "utf-8")
_HEAD_BYTES = 10
MOST_ID3_BYTES = 1 << 26
"""Ours: a larger chunk is not searched."""


def without_comment_gains(block: bytes) -> tuple[bytes, list[str]]:
    """A block of FLAC comments without such tags, and what was taken out, in words. A damaged block stays."""
    try:
        vendor, *tags = _comments(block)
    except (struct.error, ValueError):
        return block, []
    gone = [tag for tag in tags if _NAME.match(tag.decode("utf-8", "replace"))]
    if not gone:
        return block, []
    kept = [tag for tag in tags if tag not in gone]
    first, *rest = (struct.pack("<I", len(field)) + field for field in (vendor, *kept))
    names = [f"tag {tag.partition(b'=')[0].decode('utf-8', 'replace')}" for tag in gone]
    return first + struct.pack("<I", len(kept)) + b"".join(rest), names


def without_id3_gains(tag: bytes) -> tuple[bytes, list[str]]:
    """An ID3v2 tag without such frames, of the same length, and what was taken out, in words.

    A tag of another version, or one with an extended header or unsynchronised bytes, stays as it is.
    """
    if tag[:3] != b"ID3" or tag[3:4] not in (b"\3", b"\4") or len(tag) < _HEAD_BYTES or tag[5] & 0xC0:
        return tag, []
    stop = min(len(tag), _HEAD_BYTES + _of_sevens(tag[6:10]))
    kept, gone, place = [tag[:_HEAD_BYTES]], [], _HEAD_BYTES
    for frame in _frames(tag[:stop], is_sevens=tag[3] == 4):
        place += len(frame)
        name = _gain_in(frame)
        if name:
            gone.append(name)
        else:
            kept.append(frame)
    if not gone:
        return tag, []
    shortened = b"".join(kept) + tag[place:stop]
    return shortened.ljust(stop, b"\0") + tag[stop:], gone


def _comments(block: bytes) -> Iterator[bytes]:
    """The vendor's text, then each tag; sizes are little-endian."""
    vendor_stop = 4 + struct.unpack_from("<I", block)[0]
    yield block[4:vendor_stop]
    (count,) = struct.unpack_from("<I", block, vendor_stop)
    place = vendor_stop + 4
    for _ in range(count):
        stop = place + 4 + struct.unpack_from("<I", block, place)[0]
        if stop > len(block):
            raise ValueError("a tag ends behind its block")
        yield block[place + 4 : stop]
        place = stop


def _frames(tag: bytes, *, is_sevens: bool) -> Iterator[bytes]:
    """Each frame with its header, up to the padding or to one that does not fit."""
    place = _HEAD_BYTES
    while place + _HEAD_BYTES <= len(tag) and tag[place]:
        size = tag[place + 4 : place + 8]
        stop = place + _HEAD_BYTES + (_of_sevens(size) if is_sevens else int.from_bytes(size, "big"))
        if stop > len(tag):
            return
        yield tag[place:stop]
        place = stop


def _gain_in(frame: bytes) -> str:
    """What gain the frame holds, in words; empty where it holds none."""
    name, content = frame[:4], frame[_HEAD_BYTES:]
    if name in _GAIN_FRAMES:
        return f"ID3 frame {name.decode()}"
    if name != b"TXXX" or not content or content[0] >= len(_ENCODINGS):
        return ""
    title = content[1:].decode(_ENCODINGS[content[0]], "replace").partition("\0")[0]
    return f"tag {title}" if _NAME.match(title) else ""


def _of_sevens(number: bytes) -> int:
    """A number of which each byte holds seven bits."""
    return sum((byte & 0x7F) << shift for byte, shift in zip(number, (21, 14, 7, 0), strict=True))
