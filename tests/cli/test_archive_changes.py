"""What ``sidecar check --archive`` notices between two runs, and says of it."""

import json
import os
import sqlite3
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.wave.bext import Claimed
from sidecar.wave.bext_write import prepare, stamp

RATE_HZ = 48_000


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Three files on the target of R 128."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "masters").mkdir()
    for name in "abc":
        write(tmp_path / "masters" / f"{name}.wav", -23.0)
    return tmp_path


def write(path, level_db):
    """Tech 3341 §2.9: a tone in phase on two channels reads its peak level."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    tone = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * t)
    soundfile.write(path, np.stack([tone, tone], axis=1), RATE_HZ, "PCM_24")


def run(capfd, *arguments):
    capfd.readouterr()
    code = main(["check", "--archive", "kept.sqlite", "--jobs", "1", *arguments])
    captured = capfd.readouterr()
    return code, captured.out, captured.err


@pytest.mark.slow
def test_the_first_run_has_nothing_to_compare_with_and_the_second_no_change(folder, capfd):
    for _ in range(2):
        code, said, _ = run(capfd, "masters")
        assert code == 0
        assert "Since the last run" not in said


@pytest.mark.slow
def test_each_change_is_listed_with_what_it_did_to_the_loudness(folder, capfd):
    run(capfd, "masters")
    write(folder / "masters" / "b.wav", -20.0)
    write(folder / "masters" / "d.wav", -23.0)
    (folder / "masters" / "c.wav").unlink()
    code, said, _ = run(capfd, "masters")

    assert code == 1
    assert "Since the last run: 1 new, 1 changed, 1 gone.\n" in said
    assert "+ masters/d.wav\n" in said
    assert "~ masters/b.wav: −23.0 → −20.0 LUFS\n" in said
    assert "− masters/c.wav\n" in said
    assert "until you add --forget" in said


@pytest.mark.slow
def test_a_stamp_in_place_is_noticed_though_size_and_time_stay(folder, capfd):
    path = folder / "masters" / "a.wav"
    stamp(path, Claimed(-23.0, 0.0, -23.0, -23.0, -23.0), prepare(path))
    run(capfd, "masters")
    before = path.stat()
    how = stamp(path, Claimed(-20.0, 0.0, -23.0, -23.0, -23.0), prepare(path))
    after = path.stat()
    _, said, _ = run(capfd, "masters", "--json")
    told = {outcome["file"]: outcome for outcome in json.loads(said)}

    assert how == "in place"
    assert (after.st_ino, after.st_size, after.st_mtime_ns) == (
        before.st_ino,
        before.st_size,
        before.st_mtime_ns,
    )
    assert told["masters/a.wav"]["since_last_run"] == "changed"
    assert any("−20.0" in finding for finding in told["masters/a.wav"]["findings"])
    assert "since_last_run" not in told["masters/b.wav"]


@pytest.mark.slow
def test_a_file_that_was_unreadable_and_is_readable_again_is_listed_as_such(folder, capfd):
    path = folder / "masters" / "b.wav"
    whole = path.read_bytes()
    path.write_bytes(b"RIFX" + whole[4:100])
    assert run(capfd, "masters")[0] == 2
    assert "Since" not in run(capfd, "masters")[1]
    path.write_bytes(whole)
    code, said, _ = run(capfd, "masters")

    assert code == 0
    assert "Since the last run: 1 readable now.\n~ masters/b.wav\n" in said


@pytest.mark.slow
def test_files_that_are_gone_are_forgotten_when_asked(folder, capfd):
    run(capfd, "masters")
    (folder / "masters" / "c.wav").unlink()
    assert run(capfd)[0] == 2
    code, said, complaint = run(capfd, "--forget")

    assert code == 0
    assert complaint.startswith("Forgotten: 1 file that is gone.\n")
    assert "2 files: 2 pass, 0 fail, 0 could not be read." in said


@pytest.mark.slow
def test_an_archive_whose_disk_is_away_is_not_forgotten(folder, capfd):
    run(capfd, "masters")
    (folder / "masters").rename(folder / "away")
    code, _, complaint = run(capfd, "--forget")
    (folder / "away").rename(folder / "masters")

    assert code == 2
    assert "Mount their disk" in complaint
    assert run(capfd)[0] == 0


@pytest.mark.slow
def test_a_checksum_finds_what_size_and_times_hide_and_spares_what_was_copied_back(folder, capfd):
    """A file system without a time of status is simulated: its change is then found by the content alone."""
    run(capfd, "--checksum", "masters")
    path = folder / "masters" / "a.wav"
    content = bytearray(path.read_bytes())
    content[-6:] = bytes(6)
    path.write_bytes(content)
    os.utime(folder / "masters" / "b.wav", ns=(0, 7))

    status = path.stat()
    with sqlite3.connect("kept.sqlite") as database:
        database.execute(
            "UPDATE files SET changed_ns = ?, status_ns = ? WHERE CAST(path AS TEXT) LIKE '%a.wav'",
            (status.st_mtime_ns, status.st_ctime_ns),
        )
    database.close()
    _, unseen, _ = run(capfd, "--json", str(path))
    _, said, _ = run(capfd, "--checksum", "--json", "masters")
    told = {outcome["file"]: outcome.get("since_last_run") for outcome in json.loads(said)}
    with sqlite3.connect("kept.sqlite") as database:
        counts = dict(database.execute("SELECT CAST(path AS TEXT), measurements FROM files"))
    database.close()

    assert "since_last_run" not in unseen
    assert told == {"masters/a.wav": "changed", "masters/b.wav": None, "masters/c.wav": None}
    assert sorted(counts.values()) == [1, 1, 2]


@pytest.mark.slow
def test_what_cannot_be_read_goes_by_the_name_that_it_was_asked_by(folder, capfd):
    (folder / "masters" / "e.wav").write_bytes(b"no sound at all")
    code, said, _ = run(capfd, "masters")

    assert code == 2
    assert "? masters/e.wav is not audio" in said
    assert str(folder) not in said


@pytest.mark.parametrize("option", ["--checksum", "--forget"])
def test_options_of_an_archive_are_refused_without_one(folder, capfd, option):
    assert main(["check", option, "masters"]) == 2
    assert f"{option} needs an archive" in capfd.readouterr().err


@pytest.mark.slow
def test_a_check_of_one_file_loads_nothing_of_archives(folder):
    code = (
        "import sys\nfrom sidecar.cli import main\nassert main(['check', '--json', 'masters/a.wav']) == 0\n"
        "print(*(name for name in sys.modules if 'sidecar' in name and 'archive' in name), file=sys.stderr)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stderr

    assert set(said.split()) <= {
        "sidecar.cli.arguments.named_files",
        "sidecar.cli.arguments.check_archive",
        "sidecar.delivery.batch.paths",
    }
