"""Records that a disk has damaged: what can be read is, the rest is said, and no figure is wrong."""

import dataclasses
import json
import sqlite3

import numpy as np
import pytest
from flipped_records import assert_the_rest_is_listed, flipped, listed, make_record

from sidecar.cli import main
from sidecar.errors import RecordError
from sidecar.journal import packing, reader, schema
from sidecar.journal.record import Damaged
from sidecar.journal.seals import seal
from sidecar.settings.goals import load_goal


@pytest.fixture(scope="module")
def content(tmp_path_factory):
    file = tmp_path_factory.mktemp("whole") / "passes.sqlite"
    make_record(file)
    return file.read_bytes()


@pytest.fixture
def file(content, tmp_path, monkeypatch):
    monkeypatch.setattr(schema, "data_folder", lambda: tmp_path)
    (tmp_path / "passes.sqlite").write_bytes(content)
    return tmp_path / "passes.sqlite"


def change(file, statement, *values):
    connection = sqlite3.connect(file)
    with connection:
        connection.execute(statement, values)
    connection.close()


def as_plain(record):
    """Its values, comparable."""
    return json.dumps(
        dataclasses.asdict(record),
        default=lambda value: value.tolist() if isinstance(value, np.ndarray) else str(value),
    )


@pytest.mark.slow
@pytest.mark.parametrize("bits", [1, 4, 30])
def test_of_records_with_flipped_bits_the_rest_is_listed_each_time(content, tmp_path, bits):
    """A few here; flipped_records.py does it to as many as it is asked for."""
    damaged = sum(
        assert_the_rest_is_listed(tmp_path / "passes.sqlite", content, seed, bits) for seed in range(14)
    )

    assert damaged > 0


@pytest.mark.slow
@pytest.mark.parametrize("bits", [4, 30])
def test_a_pass_of_a_record_with_flipped_bits_is_whole_or_refused(content, file, bits):
    whole = {id: as_plain(reader.load(id, file)) for id in range(1, 17)}
    refused = 0
    for seed in range(8):
        file.write_bytes(flipped(content, seed, bits))
        for id, expected in whole.items():
            try:
                found = reader.load(id, file)
            except RecordError:
                refused += 1
            else:
                assert as_plain(found) == expected

    assert refused > 0


def test_a_row_that_makes_no_sense_is_listed_as_damaged_and_the_command_ends_with_2(
    file, capsys, monkeypatch
):
    monkeypatch.setenv("COLUMNS", "120")
    change(file, "UPDATE passes SET reading = substr(reading, 1, 20) WHERE id = 5")
    assert main(["passes"]) == 2
    said = capsys.readouterr().out

    assert "programme 4" not in said
    assert "programme 5" in said
    assert "? damaged" in said
    assert said.count("✗") + said.count("✓") == 15


def test_a_figure_that_is_not_as_it_was_written_is_damage(file):
    """Still a number, and no error of SQLite: only the seal shows it."""
    change(
        file,
        "UPDATE passes SET reading = replace(reading, '\"seconds\": 20.0', '\"seconds\": 29.0') WHERE id = 7",
    )
    code, found, _ = listed(file)

    assert code == 2
    assert found[7] == {"id": 7, "error": "its entry in the record was changed."}


def test_bringing_a_record_up_to_date_hides_no_damage(tmp_path, monkeypatch):
    """Rows are sealed anew with the columns that they then have: those that were damaged before stay so."""
    file = tmp_path / "passes.sqlite"
    with monkeypatch.context() as earlier:
        earlier.setattr(schema, "STEPS", schema.STEPS[:4])
        earlier.setattr(schema, "NEWEST", 4)
        earlier.setattr(schema, "KIND", dataclasses.replace(schema.KIND, newest=4))
        schema.connect(file, patience_s=1.0).close()
    connection = sqlite3.connect(file)
    columns = "holder, began, source, rate_hz, layout, version, goal, blocks, reading"
    goal = packing.pack_fields(load_goal("r128"))
    with connection:
        for source in ("sound", "damaged"):
            values = (1, "2026-01-02T03:04:05+00:00", source, 48_000, "stereo", "0.1", goal, 10, "{}")
            connection.execute(f"INSERT INTO passes ({columns}) VALUES ({', '.join('?' * 9)})", values)
        seal(connection, "passes", 1)
        seal(connection, "passes", 2)
        connection.execute("UPDATE passes SET blocks = 11 WHERE id = 2")
    connection.close()
    sound, damaged = reader.passes(file)

    assert (sound.id, sound.about.source) == (1, "sound")
    assert damaged == Damaged(2, "its entry in the record was changed")


def test_a_pass_whose_row_is_gone_is_listed_as_damaged(file):
    change(file, "DELETE FROM passes WHERE id = 3")  # without foreign keys its blocks stay

    assert Damaged(3, "its entry in the record cannot be read") in reader.passes(file)


def test_what_is_left_of_a_damaged_pass_is_exported_and_the_rest_said(file, tmp_path, capsys):
    change(file, "UPDATE batches SET energy = zeroblob(40) WHERE pass = 2 AND first = 15")
    change(file, "DELETE FROM events WHERE id = (SELECT min(id) FROM events WHERE pass = 2)")
    place = tmp_path / "pass.json"
    assert main(["passes", "--export", "2", "--to", str(place)]) == 2
    said = capsys.readouterr().err
    whole = json.loads(place.read_text())

    damage = "0.5 s of it and 1 of its cuts, events and fader moves cannot be read"
    assert said == f"sidecar: Pass 2 is damaged: {damage}; the rest is written.\n"
    assert whole["damage"] == damage
    assert whole["missing"] == [{"block": 15, "blocks": 5}]
    assert len(whole["history"]["block_lufs"]) == 195


def test_no_run_goes_on_with_a_damaged_pass(file):
    change(file, "UPDATE told SET value_db = 3.0 WHERE pass = 16")

    with pytest.raises(RecordError, match=r"Pass 16 is damaged: 8 of its cuts, .*--export 16"):
        reader.latest(file)


def test_a_pass_that_claims_more_than_a_year_asks_for_no_memory(file):
    """A valid seal proves no valid content: any program can write one."""
    change(file, "UPDATE passes SET blocks = 1 << 60 WHERE id = 1")
    connection = sqlite3.connect(file)
    with connection:
        seal(connection, "passes", 1)
    connection.close()

    assert Damaged(1, "its entry in the record says that it lasted for more than a year") in reader.passes(
        file
    )
    with pytest.raises(RecordError, match="more than a year"):
        reader.load(1, file)


def test_a_record_without_its_first_page_is_read_past_it(file, content):
    """The header and the definition of the tables are the same in every record."""
    file.write_bytes(bytes(4096) + content[4096:])
    found = reader.passes(file)

    assert (found[0].id, len(found)) == (None, 17)
    assert "first page" in found[0].why
    assert [summary.id for summary in found[1:]] == list(range(1, 17))
