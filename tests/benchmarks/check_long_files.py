"""Memory and time that long files take: 1 minute, 2 hours and 8 hours, the last an RF64 of 5.5 GB.

Run: python tests/benchmarks/check_long_files.py
The files are sparse: a minute of noise at the start, in the middle and at the end, silence that takes no
space on the disk between. Each is measured in a process of its own; its peak memory is what counts.
"""

from __future__ import annotations

import struct
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

RATE_HZ = 48_000
FRAME_BYTES = 4
MINUTE = 60 * RATE_HZ * FRAME_BYTES

MEASURING = """
import resource, sys, time
from pathlib import Path
from sidecar.delivery.measure.whole_file import measure
before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
clock, processor = time.perf_counter(), time.process_time()
measured = measure(Path(sys.argv[1]))
taken = time.perf_counter() - clock, time.process_time() - processor
after_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(f"{measured.reading.seconds / 3600:.3f} h: {after_mb:.0f} MB at most, {before_mb:.0f} before it; "
      f"{measured.reading.seconds / taken[1]:.0f} times real time by processor time, "
      f"{measured.reading.seconds / taken[0]:.0f} by the clock; "
      f"{measured.reading.integrated:.2f} LUFS, {len(measured.facts.silences)} silences")
"""


def write_sparse(path: Path, minutes: int) -> None:
    """An RF64 (EBU Tech 3306) of 16-bit stereo."""
    size = minutes * MINUTE
    random = np.random.default_rng(6)
    noise = (3000 * random.standard_normal((60 * RATE_HZ, 2))).astype("<i2").tobytes()
    header = b"RF64" + struct.pack("<I", 0xFFFFFFFF) + b"WAVE"
    header += b"ds64" + struct.pack("<IQQQI", 28, 72 + size, size, size // FRAME_BYTES, 0)
    header += b"fmt " + struct.pack("<IHHIIHH", 16, 1, 2, RATE_HZ, RATE_HZ * FRAME_BYTES, FRAME_BYTES, 16)
    header += b"data" + struct.pack("<I", 0xFFFFFFFF)
    with path.open("wb") as out:
        out.write(header)
        out.truncate(len(header) + size)
        for minute in {0, minutes // 2, minutes - 1}:
            out.seek(len(header) + minute * MINUTE)
            out.write(noise)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        for minutes in (1, 120, 480):
            path = Path(folder) / "long.wav"
            write_sparse(path, minutes)
            print(f"{path.stat().st_size / 1e9:.2f} GB,", end=" ", flush=True)
            subprocess.run([sys.executable, "-c", MEASURING, str(path)], check=True)


if __name__ == "__main__":
    main()
