"""Loudness fields of a 5 GB RF64 file: changed in place, put into a filler, and by copying the file.

usage: bench_stamp.py [FOLDER]

The file is sparse: what is compared is how much has to be written, not how fast a disk is. Prints seconds
and the ratio to the change in place. Every other byte is checked by a sum of the file's parts.
"""

from __future__ import annotations

import hashlib
import struct
import sys
import tempfile
import time
from pathlib import Path

from sidecar.wave.bext import Claimed, new_bext, read_loudness
from sidecar.wave.bext_write import prepare, stamp

DATA_BYTES = 5_000_000_004 // 6 * 6
CLAIMED = Claimed(-22.7, 6.12, -1.3, -14.05, -18.0)
FMT = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 2, 48_000, 288_000, 6, 24)
IN_FRONT = {
    "in place": struct.pack("<4sI", b"bext", 602) + new_bext(Claimed()),
    "filler": struct.pack("<4sI", b"JUNK", 4096) + bytes(4096),
    "copied": b"",
}


def write(path: Path, in_front: bytes) -> None:
    form_bytes = 4 + 36 + len(FMT) + len(in_front) + 8 + DATA_BYTES
    with path.open("wb") as file:
        file.write(b"RF64\xff\xff\xff\xffWAVE")
        file.write(struct.pack("<4sIQQQI", b"ds64", 28, form_bytes, DATA_BYTES, DATA_BYTES // 6, 0))
        file.write(FMT + in_front + b"data\xff\xff\xff\xff")
        start = file.tell()
        for place in range(0, DATA_BYTES, DATA_BYTES // 50):  # something to lose here and there
            file.seek(start + place)
            file.write(b"audio")
        file.truncate(start + DATA_BYTES)


def sum_of_audio(path: Path) -> str:
    digest = hashlib.blake2b()
    with path.open("rb") as file:
        file.seek(path.stat().st_size - DATA_BYTES)
        while piece := file.read(1 << 24):
            digest.update(piece)
    return digest.hexdigest()


def main() -> None:
    seconds = {}
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else None) as folder:
        for name, in_front in IN_FRONT.items():
            path = Path(folder) / "long.wav"
            write(path, in_front)
            before = sum_of_audio(path)
            seen = prepare(path)
            start = time.perf_counter()
            how = stamp(path, CLAIMED, seen)
            seconds[name] = time.perf_counter() - start
            kept = before == sum_of_audio(path) and read_loudness(path) == CLAIMED
            times = f"{seconds[name]:8.3f} s  {seconds[name] / seconds['in place']:7.0f} ×"
            print(
                f"{name:9} {how:9} {times}  audio {'kept' if kept else 'LOST'}",
                flush=True,
            )


if __name__ == "__main__":
    main()
