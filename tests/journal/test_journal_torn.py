"""The power goes: whatever part of the log the disk had, what is read is a whole piece of the truth.

SQLite syncs its log at each commit, so what is torn is at worst the write that was under way. These tests
tear more than that: anything behind any place.
"""

import shutil
import sqlite3

import numpy as np
import pytest
from journal_waiting import wait_until
from known_signal import ABOUT, Measuring

from sidecar.journal import reader
from sidecar.journal.writer import Journal

BLOCKS = 60


@pytest.fixture(scope="module")
def undisturbed():
    return Measuring().go_on(BLOCKS)


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    """File and log as they lie on the disk while the pass is being heard, many commits long."""
    folder = tmp_path_factory.mktemp("torn")
    journal = Journal(folder / "passes.sqlite", period_s=0.005)
    entry = journal.begin(ABOUT)
    measuring = Measuring()
    for block in range(1, BLOCKS + 1):
        measuring.go_on(1, entry)
        wait_until(lambda block=block: sum(s.blocks for s in reader.passes(journal._file)) == block)
    copies = folder / "copies"
    copies.mkdir()
    for part in ("passes.sqlite", "passes.sqlite-wal"):
        shutil.copy(folder / part, copies / part)
    journal.close()
    return copies


def torn(running, folder, tear):
    """A copy whose log was torn; SQLite's own check of it, and the record."""
    folder.mkdir()
    for part in ("passes.sqlite", "passes.sqlite-wal"):
        shutil.copy(running / part, folder / part)
    log = folder / "passes.sqlite-wal"
    log.write_bytes(tear(bytearray(log.read_bytes())))
    record = reader.latest(folder / "passes.sqlite")
    connection = sqlite3.connect(folder / "passes.sqlite")
    try:
        return connection.execute("PRAGMA integrity_check").fetchone()[0], record
    finally:
        connection.close()


def assert_a_piece_of(undisturbed, record):
    """Its blocks are the first ones, and its reading is the one that belongs to the last of them."""
    blocks = record.summary.blocks
    assert undisturbed.energies[:blocks] == record.energy.tolist()
    assert undisturbed.readings[blocks - 1] == record.summary.reading


@pytest.mark.slow
def test_a_log_that_breaks_off_anywhere(running, undisturbed, tmp_path):
    """Cut at thirty places: sound, and never a reading without its blocks."""
    size = (running / "passes.sqlite-wal").stat().st_size
    found = set()
    for place in np.linspace(0, size, 30).astype(int):
        integrity, record = torn(running, tmp_path / str(place), lambda log, at=place: log[:at])
        assert integrity == "ok"
        if record is not None:
            assert_a_piece_of(undisturbed, record)
            found.add(record.summary.blocks)

    assert max(found) == BLOCKS
    assert len(found) > 10


def test_a_log_whose_end_was_never_written(running, undisturbed, tmp_path):
    """Zeros or leftovers follow some place, as after a power cut on some file systems."""
    size = (running / "passes.sqlite-wal").stat().st_size
    rng = np.random.default_rng(6)
    for place in rng.integers(size // 2, size, 10):
        for name, filling in (("zeros", bytes(size - place)), ("leftovers", rng.bytes(size - place))):
            integrity, record = torn(
                running, tmp_path / f"{name}{place}", lambda log, at=place, rest=filling: log[:at] + rest
            )
            assert integrity == "ok"
            assert_a_piece_of(undisturbed, record)
