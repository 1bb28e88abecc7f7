"""Archives that a disk has damaged: what can be read is shown, the rest is said, and no figure is wrong."""

import sqlite3
from dataclasses import replace

import numpy as np
import pytest
from made import RIGHT, made
from test_archive_store import JOB, kept

from sidecar.cli import main
from sidecar.delivery.batch.store import Store
from sidecar.delivery.judge.checking import Checked, Unread
from sidecar.errors import RecordError

FILES = 40


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """Its bytes, and the outcome of each of its files."""
    folder = tmp_path_factory.mktemp("archive")
    paths = [folder / f"{number:02}.wav" for number in range(FILES)]
    with Store(folder / "kept.sqlite", JOB) as store:
        for number, path in enumerate(paths):
            path.write_bytes(b"070056789")
            store.keep(kept(path, made(replace(RIGHT, integrated=-23.0 - number / 10))))
        store.ask_for_all()
        outcomes = [outcome for _, outcome in store.outcomes()]
    return (folder / "kept.sqlite").read_bytes(), outcomes


def told(database):
    with Store(database, JOB) as store:
        store.ask_for_all()
        store.find_due()
        return [outcome for _, outcome in store.outcomes()]


def change(database, statement, *values):
    connection = sqlite3.connect(database)
    with connection:
        connection.execute(statement, values)
    connection.close()


@pytest.mark.slow
@pytest.mark.parametrize("bits", [1, 6])
def test_of_archives_with_flipped_bits_the_rest_is_told_each_time(archive, tmp_path, bits):
    content, whole = archive
    expected = {outcome.file: outcome.measured for outcome in whole}
    damaged = 0
    for seed in range(20):
        flipped = bytearray(content)
        places = np.random.default_rng(seed).integers(4096 * 8, 8 * len(content), bits)
        for place in places:  # behind the first page, without which it is no database
            flipped[place // 8] ^= 1 << place % 8
        (tmp_path / "kept.sqlite").write_bytes(flipped)
        for left in tmp_path.glob("kept.sqlite-*"):
            left.unlink()
        found = told(tmp_path / "kept.sqlite")

        assert expected.keys() <= {outcome.file for outcome in found}
        for outcome in found:
            if isinstance(outcome, Checked):
                np.testing.assert_equal(outcome.measured, expected[outcome.file])
            else:
                damaged += 1
                assert "archive" in outcome.error

    assert damaged > 0


def test_a_damaged_row_is_told_once_and_measured_by_the_next_run(archive, tmp_path):
    database = tmp_path / "kept.sqlite"
    database.write_bytes(archive[0])
    change(database, "UPDATE files SET figures = replace(figures, '-23.3', '-22.3')")
    first = told(database)
    unread = [outcome for outcome in first if isinstance(outcome, Unread)]

    assert len(first) == FILES
    assert len(unread) == 1
    assert unread[0].error.endswith(
        "03.wav: its result in the archive is damaged. Run this again to measure it."
    )
    with Store(database, JOB) as store:
        store.ask_for_all()
        assert store.find_due().files == 1


@pytest.mark.slow
def test_a_check_that_finds_a_damaged_row_ends_with_2_and_shows_the_others(archive, tmp_path, capsys):
    database = tmp_path / "kept.sqlite"
    database.write_bytes(archive[0])
    change(database, "UPDATE files SET course = zeroblob(9)")
    code = main(["check", "--archive", str(database)])

    assert code == 2
    assert capsys.readouterr().out


def test_an_archive_without_its_first_page_is_refused_in_words(archive, tmp_path):
    (tmp_path / "kept.sqlite").write_bytes(bytes(4096) + archive[0][4096:])

    with pytest.raises(RecordError, match=r"is damaged\. Move it away"):
        Store(tmp_path / "kept.sqlite", JOB)
