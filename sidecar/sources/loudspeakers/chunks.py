"""The chunks in front of the audio of WAV and its kin, AIFF and CAF, whatever else is amiss.

Who changes a file walks it strictly (:mod:`sidecar.wave.chunks`); here a file is only looked at.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO, NamedTuple

_MOST_CHUNKS = 4096
_W64_RIFF = b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00"
_AUDIO = (b"data", b"SSND")


class Found(NamedTuple):
    """A chunk: four letters, and where its content begins and how long it is."""

    name: bytes
    start: int
    size: int


class _Form(NamedTuple):
    header: struct.Struct
    first: int
    """The place of the first chunk."""
    padding: int
    """Chunks begin at multiples of it, from the beginning of the file."""
    counts_header: bool = False


_FORMS = {
    b"RIFF": _Form(struct.Struct("<4sI"), 12, 2),
    b"RF64": _Form(struct.Struct("<4sI"), 12, 2),
    b"BW64": _Form(struct.Struct("<4sI"), 12, 2),
    b"RIFX": _Form(struct.Struct(">4sI"), 12, 2),
    b"FORM": _Form(struct.Struct(">4sI"), 12, 2),
    b"caff": _Form(struct.Struct(">4sq"), 8, 1),
}
_W64 = _Form(struct.Struct("<16sQ"), 40, 8, counts_header=True)


def chunks_before_audio(file: BinaryIO) -> Iterator[Found]:
    """The chunks up to the audio, or up to where the file makes no sense; none for other formats.

    Of W64 the names are the first four letters of its longer ones.
    """
    file.seek(0)
    head = file.read(16)
    form = _W64 if head == _W64_RIFF else _FORMS.get(head[:4])
    if form is None:
        return
    place = form.first
    for _ in range(_MOST_CHUNKS):
        file.seek(place)
        header = file.read(form.header.size)
        if len(header) < form.header.size:
            return
        name, size = form.header.unpack(header)
        size -= form.header.size if form.counts_header else 0
        if size < 0 or name[:4] in _AUDIO:
            return
        found = Found(name[:4], place + form.header.size, size)
        yield found
        place = -(-(found.start + size) // form.padding) * form.padding


def content(file: BinaryIO, chunk: Found) -> bytes:
    """The first 64 KiB of a chunk, or all where it is shorter."""
    file.seek(chunk.start)
    return file.read(min(1 << 16, chunk.size))
