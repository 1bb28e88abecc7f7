"""An archive by the workers of a real scheduler on loopback: the same results, and no file lost."""

import json
import os
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from distributed import Client
from made_archive import made_archive

from sidecar.cli import main
from sidecar.delivery.batch import cluster as archive_cluster
from sidecar.delivery.batch.cluster import Cluster
from sidecar.delivery.batch.work import Job, Kept, measured, meter_version
from sidecar.delivery.judge.checking import Unread
from sidecar.errors import MissingPackage, NetworkError, SettingsError
from sidecar.settings.goals import load_goal

JOB = Job(None, (load_goal("r128"),), meter_version())
ROOT = Path(__file__).parents[2]


def ended(file, job):
    """Work that ends its worker."""
    if file == "crash.wav":
        os._exit(1)
    return Unread(file, "read")


class Dask:
    """A scheduler and workers, started as a facility starts them."""

    def __init__(self, folder):
        self._where = folder / "scheduler.json"
        self._environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join(map(str, (ROOT, ROOT / "tests", ROOT / "tests" / "delivery"))),
            "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
        }
        self.processes = []
        self.start("scheduler", "--port", "0", "--host", "127.0.0.1")
        self.address = self._address()

    def start(self, *words):
        with (self._where.parent / "dask.log").open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", "dask", *words, "--no-dashboard", "--scheduler-file", self._where],
                env=self._environment,
                stdout=log,
                stderr=log,
                cwd=self._where.parent,
            )
        self.processes.append(process)
        return process

    def workers(self, count):
        """So many more."""
        with Client(self.address, set_as_default=False) as client:
            before = len(client.ncores())
            started = [self.start("worker", "--nthreads", "1", "--host", "127.0.0.1") for _ in range(count)]
            client.wait_for_workers(before + count, timeout=120)
        return started

    def _address(self):
        for _ in range(1200):
            if self._where.exists() and (text := self._where.read_text()).endswith("}"):
                return str(json.loads(text)["address"])
            threading.Event().wait(0.05)
        raise AssertionError("the scheduler does not start")

    def end(self):
        """The workers first: they would look for their scheduler."""
        for process in reversed(self.processes):
            process.terminate()
            process.wait(60)


@pytest.fixture(scope="module")
def dask(tmp_path_factory):
    dask = Dask(tmp_path_factory.mktemp("dask"))
    dask.workers(2)
    yield dask
    dask.end()


@pytest.fixture
def archive(tmp_path):
    """Files of many kinds, some broken."""
    made_archive(tmp_path / "archive", 20, every=10)
    return sorted(str(path) for path in (tmp_path / "archive").glob("*/*"))


def told(result):
    """What a result says, to the fourth decimal: where a buffer lies decides how sums are grouped."""
    if isinstance(result, Unread):
        return result
    return (
        *(result.file, result.seen, result.passes, result.seconds),
        *(round(result.integrated_lufs, 4), round(result.max_true_peak_dbtp, 4)),
    )


def results(cluster, files):
    return {result.file: result for result in cluster.results(iter(files)) if result is not None}


@pytest.mark.slow
def test_results_are_those_of_this_machine_and_a_dead_worker_loses_none(dask, archive):
    """One of three workers is killed when the first results are there: each file comes all the same, once,
    as it is measured here, and what is broken in the same words."""
    (victim,) = dask.workers(1)
    cluster = Cluster(dask.address, JOB)
    found = {}
    for result in cluster.results(iter(archive)):
        if result is None:
            continue
        if not found:
            assert cluster.at_work_on == [f"3 workers of {dask.address}"]
            victim.kill()
        assert result.file not in found
        found[result.file] = result

    here = {file: measured(file, JOB) for file in archive}
    assert {file: told(result) for file, result in here.items()} == {
        file: told(result) for file, result in found.items()
    }
    assert {Kept, Unread} == {type(result) for result in found.values()}


@pytest.mark.slow
def test_a_file_on_which_workers_die_is_given_up_and_no_other(dask):
    """Not even those that were sent with it or were waiting behind it."""
    files = [f"{number}.wav" for number in range(12)] + ["crash.wav"]
    found = {file: result.error for file, result in results(Cluster(dask.address, JOB, ended), files).items()}

    assert "crash.wav cannot be measured: each worker that tried was ended" in found.pop("crash.wav")
    assert dict.fromkeys(files[:-1], "read") == found


@pytest.mark.slow
def test_workers_of_another_version_measure_nothing(dask):
    """Their figures may differ."""
    with pytest.raises(SettingsError, match="another version of the sidecar"):
        results(Cluster(dask.address, replace(JOB, meter="other")), ["a.wav"])


@pytest.mark.slow
def test_a_scheduler_that_goes_away_ends_the_run_in_words(tmp_path, archive, monkeypatch):
    """Instead of waiting for it for ever; one without workers is said before that."""
    monkeypatch.setattr(archive_cluster, "_PATIENCE_S", 0.5)
    dask = Dask(tmp_path)
    try:
        with pytest.raises(NetworkError, match="No worker has joined"):
            results(Cluster(dask.address, JOB), archive)
        dask.workers(1)
        with pytest.raises(NetworkError, match="The same command continues"):
            for _ in Cluster(dask.address, JOB).results(iter(archive * 20)):
                dask.processes[0].kill()
    finally:
        dask.end()


@pytest.mark.slow
def test_a_path_that_leads_elsewhere_on_a_worker_is_told(archive):
    """Its figures are those of another file."""
    (path,) = [path for path in archive if path.endswith("00002.wav")]
    kept = measured(path, JOB)
    assert isinstance(kept, Kept)
    other = replace(kept, seen=replace(kept.seen, size=kept.seen.size + 1))
    far = replace(kept, seen=replace(kept.seen, inode=7, changed_ns=kept.seen.changed_ns + 10**9))

    assert "is another file on its worker" in archive_cluster._as_here(other).error
    assert kept == archive_cluster._as_here(far)


def test_nobody_at_the_address_is_said(monkeypatch):
    """With what starts a scheduler; and a word that is no address is refused the same way."""
    monkeypatch.setattr(archive_cluster, "_PATIENCE_S", 0.3)
    for address in ("127.0.0.1:9", "somewhere else"):
        with pytest.raises(NetworkError, match=f"No scheduler answers at {address}.*dask scheduler"):
            Cluster(address, JOB)


def test_missing_packages_are_named_with_the_line_that_installs_them(monkeypatch):
    """They are an extra."""
    monkeypatch.setitem(sys.modules, "distributed", None)

    with pytest.raises(MissingPackage, match=r"pip install 'loudness-sidecar\[cluster\]'"):
        Cluster("127.0.0.1:9", JOB)


@pytest.mark.slow
def test_the_command_prints_what_it_prints_without_a_cluster(dask, archive, tmp_path, capsys, monkeypatch):
    """Of every file, good or broken, to the last letter."""
    monkeypatch.chdir(tmp_path)
    printed = []
    for where in ([], ["--cluster", dask.address]):
        code = main(["check", "--json", "--archive", f"{len(where)}.sqlite", *where, "archive"])
        printed.append((code, capsys.readouterr().out))

    assert printed[0] == printed[1]
    assert len(archive) == len(json.loads(printed[0][1]))
