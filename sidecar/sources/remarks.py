"""What is odd about a sound file as a file, though it can be read: each a sentence for the person."""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

from sidecar.errors import SourceError
from sidecar.sources.ogg import OggFile
from sidecar.wave.chunks import Wave, is_wave, read_chunk, walk


class Remark(NamedTuple):
    """Something odd about a file as a file."""

    about: str
    """``format``, ``length`` or ``layout``."""
    sentence: str
    """For the person; it calls the file "it"."""


_FORMAT = struct.Struct("<HHIIHH")
"""Of the format chunk: tag, channels, rate, bytes a second, bytes a frame, bits a sample."""
_UNCODED = (0x0001, 0x0003, 0xFFFE)
"""Tags of whole-number and floating-point samples, and of the extensible form."""
_WAVE = frozenset(("WAV", "WAVEX", "RF64"))
_BY_SUFFIX: dict[str, frozenset[str]] = {
    **dict.fromkeys((".wav", ".wave", ".bwf", ".rf64", ".bw64"), _WAVE),
    **dict.fromkeys((".aif", ".aiff", ".aifc"), frozenset(("AIFF",))),
    **dict.fromkeys((".ogg", ".oga", ".opus"), frozenset(("OGG",))),
    **dict.fromkeys((".mp1", ".mp2", ".mp3"), frozenset(("MP3", "MPEG"))),
    **dict.fromkeys((".au", ".snd"), frozenset(("AU",))),
    ".flac": frozenset(("FLAC",)),
    ".caf": frozenset(("CAF",)),
    ".w64": frozenset(("W64",)),
}
"""What a name that ends so promises, by libsndfile's names of containers (common practice, no source)."""


def of_suffix(path: Path, container: str) -> Iterator[Remark]:
    """Whether the name promises another format than there is."""
    promised = _BY_SUFFIX.get(path.suffix.lower())
    if promised is not None and container not in promised:
        yield Remark("format", f"Its name ends in {path.suffix} and it is {container} inside: rename it.")


def of_chunks(path: Path) -> Iterator[Remark]:
    """What the sizes in a WAV, RF64, BW64 or AIFF file leave open or out; nothing of other files."""
    try:
        with path.open("rb") as file:
            if is_wave(path):
                wave = walk(file)
                yield from _of_wave(wave)
                yield from _of_format(file, wave)
            else:
                yield from _of_aiff(file)
    except (OSError, SourceError):  # who reads or changes it says so
        return


def _of_aiff(file: BinaryIO) -> Iterator[Remark]:
    head = file.read(12)
    if head[:4] == b"FORM" and head[8:] in (b"AIFF", b"AIFC"):
        size = int.from_bytes(head[4:8], "big")
        yield from _behind(os.fstat(file.fileno()).st_size - (8 + size + size % 2), "chunk")


def _of_wave(wave: Wave) -> Iterator[Remark]:
    if wave.is_open:
        yield Remark(
            "length",
            "Its header gives no length, as after a broken recording. All that follows was measured. "
            "Export or copy it again.",
        )
    yield from _behind(wave.bytes_behind, "chunk")


def _of_format(file: BinaryIO, wave: Wave) -> Iterator[Remark]:
    """Where the format chunk contradicts itself, so that the channels or the rate may be wrong. Of samples
    that are not coded, a frame has the bytes of all its channels, and a second those of all its frames."""
    chunk = wave.only(b"fmt ")
    if chunk is None or chunk.size < _FORMAT.size:
        return
    tag, channels, rate_hz, bytes_a_second, frame_bytes, bits = _FORMAT.unpack(
        read_chunk(file, chunk, _FORMAT.size)
    )
    if tag not in _UNCODED or frame_bytes == 0:  # without bytes there are no samples to misread
        return
    expected = channels * ((bits + 7) // 8)
    if frame_bytes != expected:
        need = f"channel of {bits} bits needs" if channels == 1 else f"channels of {bits} bits need"
        yield Remark(
            "format",
            f"Its header contradicts itself: {channels} {need} {expected} bytes a frame, and it gives "
            f"{frame_bytes}. Check channels and length; export again.",
        )
    elif bytes_a_second != rate_hz * frame_bytes and bytes_a_second % frame_bytes == 0 < bytes_a_second:
        yield Remark(
            "format",
            f"Its header contradicts itself: {rate_hz} Hz, and bytes for {bytes_a_second // frame_bytes} Hz. "
            "Check the speed by ear; export again.",
        )


def of_pages(pages: OggFile) -> Iterator[Remark]:
    """What follows the last page of an Ogg file."""
    yield from _behind(pages.stray_behind, "page")


def _behind(count: int, last: str) -> Iterator[Remark]:
    if count > 0:
        bytes_follow = "1 byte follows" if count == 1 else f"{count:,} bytes follow"
        yield Remark("length", f"{bytes_follow} its last {last}: not measured.")


def missing_frames(count: int, rate_hz: int) -> Remark:
    """An intact file whose decoder gave less than it announces."""
    frames = "1 frame" if count == 1 else f"{count:,} frames"
    return Remark(
        "length",
        f"It decodes to {frames} ({1000.0 * count / rate_hz:.1f} ms) less than its last page announces; its "
        "pages are whole.",
    )
