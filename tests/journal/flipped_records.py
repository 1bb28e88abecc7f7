"""Records with flipped bits, and what is listed of them: for the test, and for many more on demand.

python tests/journal/flipped_records.py RECORDS [BITS]
"""

import contextlib
import io
import json
import sys
import tempfile
from collections import Counter
from pathlib import Path
from unittest import mock

import numpy as np

from sidecar.cli import main
from sidecar.journal import rows, schema
from sidecar.journal.entries import Batch, Ended
from sidecar.journal.record import Cut, FaderReport, Pass
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Event
from sidecar.settings.goals import load_goal

PASSES, BATCHES, BLOCKS = 16, 40, 5


def make_record(file):
    """A record of some passes of 20 s, as a run writes it: 40 batches each, with cuts, events and moves."""
    connection = schema.connect(file, patience_s=1.0)
    rng = np.random.default_rng(1)
    with connection:
        connection.execute("BEGIN")
        for number in range(PASSES):
            about = Pass(f"programme {number}", 48_000, "stereo", load_goal("r128"))
            id = rows.begin(connection, about, "2026-01-02T03:04:05+00:00", holder=number + 1)
            for batch in range(BATCHES):
                reading = _reading(rng, (batch + 1) * BLOCKS / 10)
                singles = [rng.normal(-23.0, 3.0, BLOCKS).astype(np.float32) for _ in range(4)]
                energy = rng.random(BLOCKS)
                rows.write(connection, id, Batch(batch * BLOCKS, energy, *singles, None, reading))
                if batch % 5 == 0:
                    rows.write(connection, id, Cut(batch * BLOCKS, 480))
                    rows.write(connection, id, Event(batch * BLOCKS / 10, "marker", f"mark {batch}"))
                    rows.write(connection, id, FaderReport(batch * BLOCKS / 10, -float(batch), True))
            rows.write(connection, id, Ended("2026-01-02T03:05:05+00:00", reading))
    connection.close()


def _reading(rng, seconds):
    values = rng.normal(-23.0, 3.0, 7)
    return Reading(
        integrated=values[0],
        loudness_range=abs(values[1]),
        max_momentary=values[2],
        max_short_term=values[3],
        true_peak=(values[4], values[5]),
        max_true_peak=max(values[4:6]),
        sample_peak=values[6],
        seconds=seconds,
    )


def flipped(content, seed, bits):
    """The bytes with so many bits changed anywhere."""
    damaged = bytearray(content)
    for place in np.random.default_rng(seed).integers(0, 8 * len(content), bits):
        damaged[place // 8] ^= 1 << place % 8
    return bytes(damaged)


def listed(file):
    """Exit code and passes of ``sidecar passes --json``, without what is said of the record itself."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said), mock.patch.object(schema, "data_folder", lambda: file.parent):
        code = main(["passes", "--json"])
    found = json.loads(said.getvalue())
    return code, {entry["id"]: entry for entry in found if entry["id"] is not None}, len(found)


def assert_the_rest_is_listed(file, content, seed, bits):
    """Each pass is there as it was, or as damaged; gives how many were damaged."""
    file.write_bytes(content)
    _, whole, _ = listed(file)
    file.write_bytes(flipped(content, seed, bits))
    code, found, entries = listed(file)
    damaged = [entry for entry in found.values() if "error" in entry]

    assert set(whole) <= set(found), "a pass is gone without a word"
    for id, entry in found.items():
        assert "error" in entry or entry == whole[id], "a figure is wrong without a word"
    assert code == (2 if damaged or entries > len(found) else 0)
    return len(damaged)


def main_many(records, bits=4):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "passes.sqlite"
        make_record(file)
        content = file.read_bytes()
        damaged = Counter(assert_the_rest_is_listed(file, content, seed, bits) for seed in range(records))
    print(f"{records} records of {PASSES} passes with {bits} flipped bits each: the rest is listed in all.")
    for passes, count in sorted(damaged.items()):
        print(f"  {passes} damaged: {count}")


if __name__ == "__main__":
    main_many(*map(int, sys.argv[1:]))
