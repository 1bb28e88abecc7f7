"""Copies of FLAC files: every metadata block of the source, byte for byte, in front of newly coded frames.

Source: RFC 9639. Only what describes the coding is made anew: STREAMINFO (§8.2) and the offsets of the seek
table (§8.5). Tags that tell a player by how much to turn this very audio up or down are left out.
"""

from __future__ import annotations

import os
import struct
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import BinaryIO

from sidecar.delivery.match.copy_chunks import copy_bytes
from sidecar.delivery.match.copy_library import CodedOutput
from sidecar.delivery.match.copy_samples import Samples
from sidecar.delivery.match.playback_gains import without_comment_gains, without_id3_gains
from sidecar.errors import SourceError

_MARKER = b"fLaC"
_STREAM_INFO, _SEEK_TABLE, _COMMENTS = 0, 3, 4
_SEEK_POINT = struct.Struct(">QQH")
_PLACEHOLDER = 0xFFFF_FFFF_FFFF_FFFF
_MOST_BLOCKS = 1024


@dataclass(frozen=True, slots=True)
class Block:
    """A metadata block."""

    kind: int
    content: bytes


@dataclass(frozen=True, slots=True)
class Front:
    """What is in front of the frames."""

    before: bytes
    """What is in front of the marker: an ID3v2 tag, by common practice, no source."""
    blocks: tuple[Block, ...]
    frames_at: int
    """Where the first frame begins."""


def read_front(file: BinaryIO) -> Front:
    """The metadata of an open file; raises SourceError where it is damaged."""
    file.seek(0)
    head = file.read(10)
    before = b""
    if head[:3] == b"ID3":  # its size in four times seven bits
        size = sum((byte & 0x7F) << shift for byte, shift in zip(head[6:10], (21, 14, 7, 0), strict=True))
        before = head + file.read(size)
    file.seek(len(before))
    if file.read(4) != _MARKER:
        raise SourceError("its FLAC marker is missing. Export it again.")
    blocks: list[Block] = []
    is_last = False
    while not is_last:
        header = file.read(4)
        size = int.from_bytes(header[1:], "big")
        content = file.read(size)
        if len(header) < 4 or len(content) < size or len(blocks) == _MOST_BLOCKS:
            raise SourceError("its metadata blocks are damaged. Export it again.")
        is_last = bool(header[0] & 0x80)
        blocks.append(Block(header[0] & 0x7F, content))
    return Front(before, tuple(blocks), file.tell())


def copy_flac(
    source: BinaryIO, target: BinaryIO, coded: BinaryIO, output: CodedOutput, samples: Samples
) -> list[str]:
    """Writes the copy; gives what was left out, in words. coded: a FLAC file of the new frames; output: where
    each of its writes began."""
    old, new = read_front(source), read_front(coded)
    frames = [start - new.frames_at for start in output.starts if start >= new.frames_at]
    blocks: list[Block] = []
    left_out: list[str] = []
    for block in old.blocks:
        if block.kind == _STREAM_INFO:
            blocks.append(new.blocks[0])
        elif block.kind == _SEEK_TABLE:
            blocks.append(Block(_SEEK_TABLE, _seek_table(block.content, new.blocks[0].content, frames)))
        elif block.kind == _COMMENTS and samples.gain_db:
            kept, gone = without_comment_gains(block.content)
            blocks.append(Block(_COMMENTS, kept))
            left_out += gone
        else:
            blocks.append(block)
    before, gone = without_id3_gains(old.before) if samples.gain_db else (old.before, [])
    left_out += gone
    target.write(before + _MARKER)
    for block in blocks:
        is_last = block is blocks[-1]
        target.write(
            bytes([block.kind | is_last << 7]) + len(block.content).to_bytes(3, "big") + block.content
        )
    copy_bytes(coded, target, new.frames_at, coded.seek(0, os.SEEK_END))
    target.write(_behind(source))
    return left_out


def _seek_table(old: bytes, stream_info: bytes, frames: Sequence[int]) -> bytes:
    """The points of *old* with the new offsets; points that fall together are placeholders at the end, as
    RFC 9639 §8.5 has them."""
    frame_samples = int.from_bytes(stream_info[:2], "big")
    total = int.from_bytes(stream_info[13:18], "big") & 0xF_FFFF_FFFF
    starts = [frame_samples * count for count in range(len(frames))]
    wanted = [point[0] for point in _SEEK_POINT.iter_unpack(old[: len(old) // 18 * 18])]
    places = sorted({bisect_right(starts, sample) - 1 for sample in wanted if sample < total})
    points = [
        _SEEK_POINT.pack(starts[place], frames[place], min(frame_samples, total - starts[place]))
        for place in places
    ]
    spare = _SEEK_POINT.pack(_PLACEHOLDER, 0, 0)
    return b"".join(points + [spare] * (len(wanted) - len(points)))


def _behind(source: BinaryIO) -> bytes:
    """An ID3v1 tag behind the frames, by common practice, no source: its last 128 bytes begin with TAG."""
    size = source.seek(0, os.SEEK_END)
    source.seek(max(0, size - 128))
    tail = source.read(128)
    return tail if len(tail) == 128 and tail[:3] == b"TAG" else b""
