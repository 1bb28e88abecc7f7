"""What the look at an Ogg file's pages adds to a check: python tests/benchmarks/ogg_pages.py FILE…

Without files, ten minutes of invented stereo. At most 5 % is wanted.
"""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

from sidecar.delivery.measure.whole_file import measure
from sidecar.sources.ogg import walk_ogg

MINUTES = 10


def invented(folder):
    path = Path(folder) / "a.ogg"
    random = np.random.default_rng(1)
    with soundfile.SoundFile(path, "w", 48_000, 2) as file:
        for _ in range(60 * MINUTES):
            file.write(0.1 * random.standard_normal((48_000, 2)))
    return path


def seconds_of_processor(work):
    began = time.process_time()
    work()
    return time.process_time() - began


def looked_through(path):
    with path.open("rb") as file:
        walk_ogg(file)


def main():
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(name) for name in sys.argv[1:]] or [invented(folder)]
        measure(paths[0], workers=1)  # compiles
        whole = sum(seconds_of_processor(lambda path=path: measure(path, workers=1)) for path in paths)
        pages = sum(seconds_of_processor(lambda path=path: looked_through(path)) for path in paths)
    print(f"{len(paths)} files: {whole:.2f} s of processor, pages {pages:.2f} s: {pages / whole:.1%}")


if __name__ == "__main__":
    main()
