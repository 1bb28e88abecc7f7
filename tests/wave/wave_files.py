"""WAV, RF64 and BW64 files put together byte by byte, and taken apart again by other code."""

from __future__ import annotations

import struct

import numpy as np

RATE_HZ = 48_000
FMT = struct.pack("<HHIIHH", 1, 2, RATE_HZ, RATE_HZ * 6, 6, 24)  # PCM, stereo, 24 bit
JUNK_FOR_DS64 = (b"JUNK", bytes(28))
IXML = (b"iXML", b"<BWFXML><PROJECT>Harbour</PROJECT></BWFXML>")  # 43 bytes: odd
CUE = (b"cue ", struct.pack("<II4sIII", 1, 1, b"data", 0, 0, 480)[:28])
LIST = (b"LIST", b"INFOINAM\x06\x00\x00\x00Night\x00")


def chunk(name, content):
    return name + struct.pack("<I", len(content)) + content + bytes(len(content) % 2)


def riff(*chunks, form=b"RIFF", tail=b""):
    body = b"".join(chunk(name, content) for name, content in chunks)
    return form + struct.pack("<I", 4 + len(body)) + b"WAVE" + body + tail


def long_form(*chunks, form=b"RF64", table=()):
    """As EBU Tech 3306 lays it out: sizes in ds64, −1 in the form and in data and what the table names."""
    entries = b"".join(struct.pack("<4sQ", name, size) for name, size in table)
    in_table = {b"data", *(name for name, _ in table)}
    body = b""
    for name, content in chunks:
        size = 0xFFFF_FFFF if name in in_table else len(content)
        body += name + struct.pack("<I", size) + content + bytes(len(content) % 2)
    data_bytes = len(dict(chunks)[b"data"])
    form_bytes = 4 + 8 + 28 + len(entries) + len(body)
    ds64 = struct.pack("<QQQI", form_bytes, data_bytes, data_bytes // 6, len(table)) + entries
    return form + b"\xff\xff\xff\xffWAVE" + chunk(b"ds64", ds64) + body


def taken_apart(content):
    """[(name, bytes)] of a file up to 4 GiB; for the long forms the sizes of data come from ds64."""
    place, chunks, data_bytes = 12, [], None
    while place + 8 <= len(content):
        name, size = struct.unpack_from("<4sI", content, place)
        if name == b"ds64":
            _, data_bytes, _ = struct.unpack_from("<QQQ", content, place + 8)
        if name == b"data" and size == 0xFFFF_FFFF:
            size = data_bytes
        chunks.append((name, content[place + 8 : place + 8 + size]))
        place += 8 + size + size % 2
    return chunks


def bext(version=2, umid=b"", loudness=(0x7FFF,) * 5, history=b"A=PCM,F=48000,W=24,M=stereo\r\n"):
    """Field by field from EBU Tech 3285 v2.0, with text in each so that a slip of a place shows."""
    return b"".join(
        [
            b"The harbour at night".ljust(256, b"\0"),
            b"Originator".ljust(32, b"\0"),
            b"Reference".ljust(32, b"\0"),
            b"2026-01-31",
            b"23:59:58",
            struct.pack("<II", 480_000, 1),
            struct.pack("<H", version),
            umid.ljust(64, b"\0"),
            struct.pack("<5h", *loudness),
            bytes(180),
            history,
        ]
    )


def pcm_24(seconds=1.0, level=0.1, seed=1):
    """Stereo noise as bytes of 24 bit."""
    frames = np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), 2)) * level
    ints = np.clip(np.rint(frames * 2**23), -(2**23), 2**23 - 1).astype("<i4")
    return ints.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
