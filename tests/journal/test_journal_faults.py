"""The disk takes nothing: measuring goes on, the fault is said, and the record catches up."""

import errno
import subprocess
import sys

import numpy as np
import pytest
from journal_waiting import wait_until
from known_signal import ABOUT, Measuring
from small_disk import SmallDisk

from sidecar.journal import reader
from sidecar.journal.record import StemBalance
from sidecar.journal.writer import Journal
from sidecar.model.readings import Reading
from sidecar.storage.sqlite_file import reason


@pytest.fixture
def disk(tmp_path):
    folder = tmp_path / "disk"
    folder.mkdir()
    disk = SmallDisk(folder)
    disk.mount()
    yield disk
    disk.unmount()


@pytest.fixture
def opened():
    """Opens journals, and closes them before the disk is taken away."""
    journals = []

    def open_journal(file, **more):
        journals.append(Journal(file, period_s=0.02, **more))
        return journals[-1]

    yield open_journal
    for journal in journals:
        journal.close()


class Locker:
    """Another process that holds the file."""

    _SCRIPT = (
        "import sqlite3, sys\n"
        "c = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "c.execute('BEGIN IMMEDIATE')\n"
        "print('locked', flush=True)\n"
        "sys.stdin.read()\n"
    )

    def __init__(self, file):
        self._process = subprocess.Popen(
            [sys.executable, "-c", self._SCRIPT, str(file)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._process.stdout.readline() == "locked\n"

    def release(self):
        self._process.communicate(timeout=30)


@pytest.fixture
def locked():
    lockers = []

    def lock(file):
        lockers.append(Locker(file))
        return lockers[-1]

    yield lock
    for locker in lockers:
        locker.release()


def blocks_on_record(file):
    return sum(summary.blocks for summary in reader.passes(file))


def caught_up(journal, entry, measured, file):
    """Whether all that was measured is on record; true only if nothing is missing from it."""
    entry.close_pass(measured.readings[-1])
    wait_until(lambda: blocks_on_record(file) == len(measured.energies))
    wait_until(lambda: not journal.fault)
    record = reader.latest(file)
    return measured.energies == record.energy.tolist() and record.missing == ()


@pytest.mark.slow
def test_a_disk_that_fills_up_stops_the_record_and_nothing_else(disk, opened):
    """Full in mid pass: the fault names the folder; with room again the record is whole."""
    file = disk.folder / "passes.sqlite"
    journal = opened(file)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(20, entry)
    wait_until(lambda: blocks_on_record(file) == 20)
    disk.fill()
    measured.go_on(400, entry)
    wait_until(lambda: journal.fault)
    said = journal.fault
    measured.go_on(20, entry)
    disk.make_room()

    assert f"the disk of {disk.folder} is full" in said
    assert "The measurement continues." in said
    assert caught_up(journal, entry, measured, file)


def test_a_disk_that_is_full_from_the_start(disk, opened):
    """Not even the tables could be made; all that was heard is on record in the end."""
    disk.fill()
    file = disk.folder / "passes.sqlite"
    journal = opened(file)
    entry = journal.begin(ABOUT)
    wait_until(lambda: journal.fault)
    measured = Measuring().go_on(50, entry)
    disk.make_room()

    assert caught_up(journal, entry, measured, file)


def test_a_folder_that_is_read_only(disk, opened):
    """The fault names the file; once the folder can be written, the record is whole."""
    disk.allow_writing(allowed=False)
    file = disk.folder / "data" / "passes.sqlite"
    journal = opened(file)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(50, entry)
    wait_until(lambda: journal.fault)
    said = journal.fault
    disk.allow_writing(allowed=True)

    assert f"{file} cannot be written" in said
    assert caught_up(journal, entry, measured, file)


def test_a_record_whose_folder_has_become_read_only(disk, opened):
    """As a disk does that the system has found damaged; the pass before stays as it is."""
    file = disk.folder / "passes.sqlite"
    journal = opened(file)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(20, entry)
    wait_until(lambda: blocks_on_record(file) == 20)
    journal.close()
    disk.allow_writing(allowed=False)
    journal = opened(file)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(20, entry)
    wait_until(lambda: journal.fault)
    said = journal.fault
    disk.allow_writing(allowed=True)
    entry.close_pass()
    wait_until(lambda: blocks_on_record(file) == 40)

    assert f"{file} cannot be written" in said
    assert measured.energies == reader.latest(file).energy.tolist()


def test_a_file_where_the_folder_should_be(tmp_path, opened):
    """It is said; moved away, the record begins."""
    (tmp_path / "data").write_text("in the way")
    file = tmp_path / "data" / "passes.sqlite"
    journal = opened(file)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(20, entry)
    wait_until(lambda: journal.fault)
    said = journal.fault
    (tmp_path / "data").unlink()

    assert "cannot be written" in said
    assert caught_up(journal, entry, measured, file)


def test_a_folder_that_the_system_does_not_know(tmp_path):
    """The system's reason comes without its number and without the path a second time."""
    error = FileNotFoundError(errno.ENOENT, "No such file or directory", str(tmp_path))
    file = tmp_path / "passes.sqlite"

    assert reason(error, file) == f"{file} cannot be used (No such file or directory)"


@pytest.mark.slow
def test_a_file_that_another_process_holds(tmp_path, opened, locked):
    """The fault says so; when it lets go, the record is whole."""
    file = tmp_path / "passes.sqlite"
    journal = opened(file)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(20, entry)
    wait_until(lambda: blocks_on_record(file) == 20)
    locker = locked(file)
    measured.go_on(100, entry)
    wait_until(lambda: journal.fault)
    said = journal.fault
    measured.go_on(20, entry)
    locker.release()

    assert f"another program holds {file}" in said
    assert caught_up(journal, entry, measured, file)


@pytest.mark.slow
def test_what_does_not_fit_into_memory_is_missing_in_few_pieces(tmp_path, opened, locked):
    """Holes are counted while the fault lasts and are on record; what is around them is whole. There is
    another one only where what waited was packed closer in the meantime."""
    file = tmp_path / "passes.sqlite"
    journal = opened(file, room_bytes=40_000)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(20, entry)
    wait_until(lambda: blocks_on_record(file) == 20)
    locker = locked(file)
    measured.go_on(300, entry)
    wait_until(lambda: journal.fault)
    said = journal.fault
    locker.release()
    wait_until(lambda: not journal.fault)
    measured.go_on(50, entry)
    entry.close_pass()
    wait_until(lambda: reader.latest(file).summary.ended)
    record = reader.latest(file)
    missing = sum(count for _, count in record.missing)

    assert "s are missing from it" in said
    assert 1 <= len(record.missing) <= 5
    assert all(20 < first < first + count <= 370 for first, count in record.missing)
    assert 370 == record.summary.blocks == record.place.size + missing
    assert missing == record.summary.missing_blocks
    assert [measured.energies[place] for place in record.place] == record.energy.tolist()


def test_a_record_that_is_moved_away_is_begun_anew(tmp_path, opened):
    """What is measured from then on is on record, not in a file without a name."""
    file = tmp_path / "data" / "passes.sqlite"
    journal = opened(file)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(20, entry)
    wait_until(lambda: blocks_on_record(file) == 20)
    (tmp_path / "data").rename(tmp_path / "elsewhere")
    measured.go_on(30, entry)
    wait_until(lambda: file.exists() and blocks_on_record(file) == 50)
    record = reader.latest(file)

    assert measured.energies[20:] == record.energy.tolist()
    assert record.missing == ((0, 20),)


@pytest.mark.slow
def test_a_close_that_the_disk_refuses_is_said_to_the_one_who_closes(tmp_path, opened, locked):
    """It comes back soon, with the reason why the end is not on record."""
    file = tmp_path / "passes.sqlite"
    journal = opened(file)
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(20, entry)
    wait_until(lambda: blocks_on_record(file) == 20)
    locked(file)
    measured.go_on(5, entry)
    journal.close()

    assert "another program holds" in journal.fault


def test_blocks_that_contradict_each_other_do_not_stop_the_worker(tmp_path, opened):
    """A fault of the program itself: the worker's calls return, and the record says that it has stopped."""
    journal = opened(tmp_path / "passes.sqlite")
    entry = journal.begin(ABOUT)
    for stems in (2, 3):
        two = StemBalance(np.ones((2, stems, stems)), np.ones((2, stems)), np.ones((2, stems)))
        entry.add_blocks(np.ones(2), np.ones(2), np.ones(2), 0.0, Reading(), two)
    wait_until(lambda: journal.fault)

    assert "an internal error" in journal.fault
