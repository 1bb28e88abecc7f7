"""The file of the journal through the versions of the program."""

import json
import sqlite3
from itertools import chain

import numpy as np
import pytest
from known_signal import ABOUT

from sidecar.errors import RecordError
from sidecar.journal import reader, rows, schema
from sidecar.journal.entries import Batch
from sidecar.journal.record import Cut, DialogueBlocks
from sidecar.journal.writer import Journal
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import Reading
from sidecar.storage.sqlite_file import DatabaseKind

VERSION_1 = """
    CREATE TABLE passes (id INTEGER PRIMARY KEY AUTOINCREMENT, holder INTEGER NOT NULL, began TEXT NOT NULL,
        ended TEXT, source TEXT NOT NULL, rate_hz INTEGER NOT NULL, layout TEXT NOT NULL,
        version TEXT NOT NULL, goal TEXT NOT NULL, blocks INTEGER NOT NULL DEFAULT 0,
        reading TEXT NOT NULL DEFAULT '{}');
    CREATE TABLE batches (id INTEGER PRIMARY KEY,
        pass INTEGER NOT NULL REFERENCES passes ON DELETE CASCADE, first INTEGER NOT NULL,
        energy BLOB NOT NULL, true_peak BLOB NOT NULL, fader BLOB NOT NULL, short_term BLOB NOT NULL,
        integrated BLOB NOT NULL, UNIQUE (pass, first));
    CREATE TABLE cuts (id INTEGER PRIMARY KEY, pass INTEGER NOT NULL REFERENCES passes ON DELETE CASCADE,
        block INTEGER NOT NULL, lost_frames INTEGER NOT NULL);
    CREATE TABLE events (id INTEGER PRIMARY KEY, pass INTEGER NOT NULL REFERENCES passes ON DELETE CASCADE,
        seconds REAL NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL);
    PRAGMA application_id = 1282364260;
    PRAGMA user_version = 1;
"""
"""As the first version made it, before stems and the fader's words were kept."""

GOAL = {
    **{"name": "r128", "title": "EBU R 128", "target_lufs": -23.0, "ceiling_dbtp": -1.0, "hot_lufs": -20.0},
    **{"tolerance_below_lu": 0.2, "tolerance_above_lu": 0.2, "a_limit_of_tomorrow": 1.0},
}


@pytest.fixture
def file(tmp_path):
    return tmp_path / "passes.sqlite"


@pytest.fixture
def old(file):
    """A file of version 1 with one pass of three blocks."""
    singles = np.array([-20.0, -21.0, -22.0], "<f4").tobytes()
    connection = sqlite3.connect(file)
    connection.executescript(VERSION_1)
    connection.execute(
        "INSERT INTO passes VALUES (7, 1, '2026-01-02T03:04:05+00:00', NULL, 'old', 48000, 'stereo', '0.1',"
        " ?, 3, ?)",
        (json.dumps(GOAL), '{"integrated": -21.5, "max_true_peak": -Infinity, "true_peak": [-3.0, -4.0]}'),
    )
    energies = np.array([0.25, 0.5, 0.75], "<f8").tobytes()
    connection.execute("INSERT INTO batches VALUES (1, 7, 0, ?, ?, ?, ?, ?)", (energies, *[singles] * 4))
    connection.execute("INSERT INTO cuts VALUES (1, 7, 2, 480)")
    connection.commit()
    connection.close()
    return file


def version_of(file):
    connection = sqlite3.connect(file)
    try:
        return connection.execute("PRAGMA user_version").fetchone()[0]
    finally:
        connection.close()


def test_a_file_of_version_1_is_brought_up_to_date_with_all_that_is_in_it(old):
    """What it held is read as before; what it could not hold is empty; keys it does not know are ignored."""
    record = reader.load(7, old)

    assert version_of(old) == schema.NEWEST
    assert record.energy.tolist() == [0.25, 0.5, 0.75]
    assert (-21.5, -np.inf, (-3.0, -4.0)) == (
        record.summary.reading.integrated,
        record.summary.reading.max_true_peak,
        record.summary.reading.true_peak,
    )
    assert (record.summary.about.source, record.summary.about.goal.target_lufs) == ("old", -23.0)
    assert (Cut(2, 480),) == record.cuts
    assert (record.stems, record.fader_reports, record.summary.missing_blocks) == (None, (), 0)
    assert record.summary.about.layout_from == ""
    assert (record.summary.dialogue, record.speech.tolist()) == (None, [])


def test_a_pass_of_version_1_goes_on(old):
    """The new blocks follow the old ones."""
    journal = Journal(old, period_s=0.02)
    entry = journal.resume(reader.load(7, old))
    values = np.ones(2)
    entry.add_blocks(values, values, values, 0.0, reader.load(7, old).summary.reading)
    journal.close()

    assert reader.load(7, old).energy.tolist() == [0.25, 0.5, 0.75, 1.0, 1.0]


def test_a_file_from_before_dialogue_was_measured_is_read_and_goes_on(file):
    connection = sqlite3.connect(file, isolation_level=None)
    for statement in chain.from_iterable(schema.STEPS[:5]):
        connection.execute(statement)
    DatabaseKind("record of passes", schema.KIND.application_id, 5).mark(connection)
    old = rows.begin(connection, ABOUT, "2026-01-02T03:04:05+00:00", 1)
    rows.write(connection, old, Batch(0, np.ones(2), *[np.ones(2, np.float32)] * 4, None, Reading()))
    connection.close()
    journal = Journal(file, period_s=0.02)
    found = DialogueLoudness("detector", -27.5, -23.0, 5.0, 8.0, 0.9)
    entry = journal.begin(ABOUT)
    for first, speech in ((0, [0]), (1, [9, 255])):
        dialogue = DialogueBlocks(found, first, np.array(speech, np.uint8))
        entry.add_blocks(*[np.ones(2)] * 3, 0.0, Reading(), None, dialogue)
    entry.close_pass()
    journal.close()
    before, after = reader.load(old, file), reader.load(old + 1, file)

    assert version_of(file) == schema.NEWEST
    assert (before.energy.tolist(), before.summary.dialogue, before.damage) == ([1.0, 1.0], None, "")
    assert after.summary.dialogue == found
    assert after.speech.tolist() == [0, 9, 255]


def test_a_new_file_has_the_tables_that_an_old_one_comes_to(old, tmp_path):
    """One way to each version: tables and columns are the same."""

    def columns(file):
        connection = schema.connect(file, patience_s=1.0)
        try:
            tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master")]
            return {name: connection.execute(f"PRAGMA table_info({name})").fetchall() for name in tables}
        finally:
            connection.close()

    new, brought_up = columns(tmp_path / "new.sqlite"), columns(old)

    assert {name: new[name] for name in brought_up} == brought_up


@pytest.fixture
def newer(file):
    schema.connect(file, patience_s=1.0).close()
    connection = sqlite3.connect(file)
    connection.execute(f"PRAGMA user_version = {schema.NEWEST + 1}")
    connection.close()
    return file


def test_a_file_of_a_newer_program_is_refused_and_left_alone(newer):
    """The reader says what to do; the writer says so too, measuring goes on, and no byte is changed."""
    before = newer.read_bytes()
    with pytest.raises(RecordError, match=f"newer sidecar .version {schema.NEWEST + 1}.*update this one"):
        reader.passes(newer)
    journal = Journal(newer, period_s=0.02)
    entry = journal.begin(ABOUT)
    entry.add_blocks(np.ones(1), np.ones(1), np.ones(1), 0.0, Reading())
    journal.close()

    assert "newer sidecar" in journal.fault
    assert before == newer.read_bytes()


def test_another_programs_database_is_left_alone(file):
    """It is not ours to write into."""
    connection = sqlite3.connect(file)
    connection.execute("CREATE TABLE theirs (x)")
    connection.commit()
    connection.close()
    before = file.read_bytes()

    with pytest.raises(RecordError, match="no record of passes"):
        reader.passes(file)
    assert before == file.read_bytes()


def test_a_file_that_is_no_database_is_said_to_be_damaged(file):
    """With what to do, in the reader's error and in the writer's fault."""
    file.write_bytes(b"torn" * 1000)
    with pytest.raises(RecordError, match=r"damaged\. Move it away"):
        reader.passes(file)
    journal = Journal(file, period_s=0.02)
    journal.close()

    assert "damaged. Move it away" in journal.fault
