"""What the journal costs the measuring, what a kill takes, and how much room a pass needs.

Run: python tests/benchmarks/bench_journal.py [KILLS]
"""

import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "journal"))

from kill_yard import integrated_of, kill_at
from known_signal import ABOUT, Measuring

from sidecar.journal.record import StemBalance
from sidecar.journal.resume import resumable
from sidecar.journal.writer import Journal
from sidecar.model.readings import Reading

AT_ONCE = 10
READING = Reading(integrated=-23.0, short_term=-22.5, true_peak=(-1.5, -2.5), seconds=3600.0)


def cost_of_a_call(folder):
    """The worker's part of a block, beside measuring that block."""
    journal = Journal(folder / "cost.sqlite")
    entry = journal.begin(ABOUT)
    measuring = Measuring().go_on(20)
    with_s, without_s = [], []
    for block in range(600):
        began_s = time.perf_counter()
        measuring.go_on(1)
        without_s.append(time.perf_counter() - began_s)
        one = np.array([0.01])
        began_s = time.perf_counter()
        entry.add_blocks(one, one, one, 0.0, READING)
        with_s.append(time.perf_counter() - began_s)
        time.sleep(0.002 if block % 10 else 0.02)
    journal.close()
    call_us, measure_us = (statistics.median(times) * 1e6 for times in (with_s, without_s))
    worst_us = sorted(with_s)[int(0.99 * len(with_s))] * 1e6
    print(f"one call: {call_us:.1f} µs in the middle, {worst_us:.1f} µs at 99 %;", end=" ")
    print(f"making and measuring the block: {measure_us:.0f} µs; ratio {call_us / measure_us:.4f}")


def cost_of_a_write(folder):
    """From asking for it to having it on the disk, fsync included, once a period."""
    journal = Journal(folder / "write.sqlite", period_s=3600.0)
    entry = journal.begin(ABOUT)
    times_s = []
    for _ in range(100):
        for _ in range(5):
            one = np.array([0.01])
            entry.add_blocks(one, one, one, 0.0, READING)
        began_s = time.perf_counter()
        journal._flush()  # on this thread: the writer's own sleeps for an hour
        times_s.append(time.perf_counter() - began_s)
        journal._disconnect()  # as SQLite wants it, a connection stays in the thread that made it
    journal.close()
    middle_ms, worst_ms = statistics.median(times_s) * 1e3, max(times_s) * 1e3
    print(f"one write, with opening: {middle_ms:.2f} ms in the middle, {worst_ms:.1f} ms at worst")


def size_of_an_hour(folder, stems):
    """Written as a live run does: five blocks at a time."""
    file = folder / f"size{stems}.sqlite"
    names = tuple(f"stem {k}" for k in range(stems))
    journal = Journal(file, period_s=3600.0)
    entry = journal.begin(replace(ABOUT, stems=names))
    rng = np.random.default_rng(stems)
    for _ in range(36_000 // 5):
        values = rng.random(5)
        products = StemBalance(rng.random((5, stems, stems)), rng.random((5, stems)), np.zeros((5, stems)))
        entry.add_blocks(values, values, values, 0.0, READING, products if stems else None)
        entry.add_cut()  # keeps the five in a row of their own
    entry.close_pass(READING)
    journal.close()
    size = file.stat().st_size
    print(f"an hour with {stems:2} stems: {size / 1e6:6.2f} MB; 24 h: {24 * size / 1e6:6.0f} MB")


def what_kills_take(folder, kills):
    """Real kills at random moments, ten processes at once on this machine."""
    rng = np.random.default_rng()
    left = []
    for group in range(0, kills, AT_ONCE):
        yard = folder / f"yard{group}"
        yard.mkdir()
        left += kill_at(yard, rng.uniform(0.1, 5.0, min(AT_ONCE, kills - group)))
    undisturbed = Measuring().go_on(max(one.handed for one in left))
    damaged = sum(one.integrity != "ok" for one in left)
    broken = wrong = 0
    for one in left:
        if one.record is None:
            continue
        blocks = one.record.summary.blocks
        expected = undisturbed.readings[blocks - 1]
        found = resumable(one.record)
        wrong += undisturbed.energies[:blocks] != found.energies.tolist() or expected != found.reading
        broken += abs(integrated_of(found.energies, found.cuts) - expected.integrated) > 1e-9
    lost_s = [one.lost_s for one in left]
    print(f"{kills} kills: {damaged} damaged files, {wrong} records that differ, {broken} wrong integrated;")
    print(f"lost: {statistics.median(lost_s):.2f} s in the middle, {max(lost_s):.2f} s at most")


def main():
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory(dir=".") as name:
        folder = Path(name)
        cost_of_a_call(folder)
        cost_of_a_write(folder)
        for stems in (0, 8, 16):
            size_of_an_hour(folder, stems)
        what_kills_take(folder, kills)


if __name__ == "__main__":
    main()
