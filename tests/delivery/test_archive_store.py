"""An archive on record: what is due, what is kept, and which databases are left alone."""

import os
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from made import made

from sidecar.delivery.batch.packing import pack
from sidecar.delivery.batch.store import Store
from sidecar.delivery.batch.work import Job, Kept
from sidecar.delivery.judge.checking import Unread
from sidecar.errors import RecordError, SidecarError
from sidecar.settings.goals import load_goal
from sidecar.wave.file_identity import FileIdentity

JOB = Job(None, (load_goal("r128"),), "meter-1")


def kept(path, measured=None):
    """As if the file had been measured."""
    measured = measured or made()
    seen = FileIdentity.of(path.stat())
    return Kept(str(path), seen, 60.0, -23.0, -3.0, *pack(measured, ()), passes=True)


@pytest.fixture
def files(tmp_path):
    """Three files of ten bytes."""
    paths = [tmp_path / f"{name}.wav" for name in "abc"]
    for path in paths:
        path.write_bytes(b"070056789")
    return paths


@pytest.fixture
def database(tmp_path):
    return tmp_path / "archive.sqlite"


def record(database, files, job=JOB):
    with Store(database, job) as store:
        store.ask(map(str, files))
        for path in files:
            store.keep(kept(path))


def due(database, files, job=JOB):
    """Names of those that are to be measured."""
    with Store(database, job) as store:
        store.ask(map(str, files))
        counted = store.find_due()
        names = [Path(path).name for path in store.due()]
    assert len(names) == counted.files
    return names


def test_only_what_changed_is_due(database, files):
    """Another size, time or file of that name; a new file; not what is as it was."""
    assert due(database, files) == ["a.wav", "b.wav", "c.wav"]
    record(database, files)
    assert due(database, files) == []

    os.utime(files[0], ns=(0, 7005))
    other = files[1].with_name("d.wav")
    other.write_bytes(b"070056789")
    os.utime(other, ns=(files[1].stat().st_atime_ns, files[1].stat().st_mtime_ns))
    other.rename(files[1])
    assert due(database, files) == ["a.wav", "b.wav"]


def test_what_was_measured_otherwise_is_due(database, files):
    """By another meter, or with other positions of the channels; another goal measures nothing."""
    record(database, files)

    assert len(due(database, files, Job(None, JOB.goals, "meter-2"))) == 3
    assert len(due(database, files, Job("R,L", JOB.goals, "meter-1"))) == 3
    assert due(database, files, Job(None, (load_goal("a85"),), "meter-1")) == []


def test_only_what_was_measured_without_dialogue_is_due_for_it(database, files):
    with_dialogue = replace(JOB, meter="meter-1 dialogue 1", with_dialogue=True)
    record(database, files[:1])
    record(database, files[1:2], with_dialogue)

    assert due(database, files[:2], with_dialogue) == ["a.wav"]
    assert due(database, files[:2]) == []
    assert due(database, files[:2], replace(JOB, meter="meter-")) == ["a.wav", "b.wav"]


def test_broken_files_are_tried_again(database, files):
    """A permission or a disk that is back needs no option. What was read before is no longer
    taken for the file."""
    record(database, files)
    with Store(database, JOB) as store:
        store.keep(Unread(str(files[1]), "The disc is gone."))
    assert due(database, files) == ["b.wav"]


def test_outcomes_are_told_in_the_order_asked_for_and_judged_now(database, files):
    """Each file once, by the name it was asked by."""
    record(database, files[:2])
    job = Job(None, (load_goal("r128"), load_goal("premaster")), "meter-1")
    with Store(database, job) as store:
        store.keep(Unread(str(files[2]), "It is empty."))
        asked = store.ask([str(files[2]), str(files[0]), str(files[2]), str(files[1])])
        outcomes = [outcome for _, outcome in store.outcomes()]

    assert asked == 3
    assert [Unread(str(files[2]), "It is empty.")] == outcomes[:1]
    assert [tuple(v.passes for v in outcome.verdicts) for outcome in outcomes[1:]] == [(True, False)] * 2
    assert [FileIdentity.of(path.stat()) for path in files[:2]] == [outcome.seen for outcome in outcomes[1:]]


@pytest.mark.slow
def test_more_files_than_are_in_memory_at_a_time(database, tmp_path):
    """All are due, all come back, in order, and each counts one measurement."""
    names = [str(tmp_path / f"{number:03}.wav") for number in range(700)]
    for name in names:
        (tmp_path / name).write_bytes(b"x")
    figures = pack(made(), ())
    with Store(database, JOB) as store:
        store.ask(names)
        assert store.find_due().files == 700
        for name in store.due():
            store.keep(
                Kept(name, FileIdentity.of(Path(name).stat()), 1.0, -23.0, -3.0, *figures, passes=True)
            )
        assert names == [outcome.file for _, outcome in store.outcomes()]
    with sqlite3.connect(database) as reading:
        assert reading.execute(
            "SELECT count(*), min(measurements), max(measurements) FROM files"
        ).fetchall() == [(700, 1, 1)]
    reading.close()


def test_an_inode_may_be_as_large_as_it_likes(database, files):
    """Some file systems use all 64 bits, others more."""
    large = replace(kept(files[0]), seen=FileIdentity(2**64 - 1, 10, 5, 6))
    with Store(database, JOB) as store:
        store.ask([str(files[0])])
        store.keep(large)
        ((_, outcome),) = store.outcomes()

    assert large.seen == outcome.seen


def test_names_that_are_no_text_are_kept_as_they_are(database, tmp_path):
    """Old archives have them."""
    path = tmp_path / os.fsdecode(b"caf\xe9.wav")
    path.write_bytes(b"x")
    record(database, [path])
    with Store(database, JOB) as store:
        store.keep(Unread(str(path) + "2", f"{path}2 is empty."))
        store.ask([str(path), str(path) + "2"])
        outcomes = [outcome for _, outcome in store.outcomes()]

    assert [str(path), str(path) + "2"] == [outcome.file for outcome in outcomes]
    assert outcomes[1].error == f"{tmp_path}/caf\\udce9.wav2 is empty."


@pytest.mark.slow
def test_what_was_kept_is_there_after_a_kill(database, files):
    """Each file from the moment it was named, without a further word."""
    code = (
        "import os, signal, sys; from pathlib import Path\n"
        "from test_archive_store import JOB, Store, kept\n"
        "store = Store(Path(sys.argv[1]), JOB)\n"
        "for path in sys.argv[2:]: store.keep(kept(Path(path)))\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    here = Path(__file__).parent
    killed = subprocess.run([sys.executable, "-c", code, database, *files[:2]], check=False, cwd=here)

    assert killed.returncode == -9
    assert due(database, files) == ["c.wav"]


@pytest.mark.slow
def test_one_run_at_a_time(database, files):
    """The second is refused at once; the first goes on."""
    with Store(database, JOB) as first:
        with pytest.raises(RecordError, match="another program holds"):
            Store(database, JOB)
        first.keep(kept(files[0]))
    assert due(database, files) == ["b.wav", "c.wav"]


def test_other_databases_are_left_alone(tmp_path):
    """One of another program, one of a newer sidecar, a file that is none: refused, and as before."""
    other, newer, text = tmp_path / "other.sqlite", tmp_path / "newer.sqlite", tmp_path / "text.sqlite"
    for path, statements in (
        (other, ["CREATE TABLE mine (x)"]),
        (newer, ["PRAGMA application_id = 0x4c6f5361", "PRAGMA user_version = 99", "CREATE TABLE x (y)"]),
    ):
        connection = sqlite3.connect(path)
        for statement in statements:
            connection.execute(statement)
        connection.close()
    text.write_bytes(b"Notes on the mix of Thursday.\n" * 100)
    for path, said in (
        (other, "another database"),
        (newer, "newer sidecar"),
        (text, "is damaged. Move it away"),
    ):
        before = path.read_bytes()
        with pytest.raises(RecordError, match=said):
            Store(path, JOB)
        assert before == path.read_bytes()


@pytest.mark.parametrize(
    ("place", "said"), [("no/archive.sqlite", "there is no folder"), (".", "cannot be written")]
)
def test_places_where_nothing_can_be_kept_are_refused(tmp_path, place, said):
    """In one sentence, before anything is measured."""
    with pytest.raises(SidecarError, match=said):
        Store(tmp_path / place, JOB)
