"""Many files by processes of this machine: all are reported, whatever becomes of a process."""

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from sidecar.delivery.batch.processes import MeasuringProcesses
from sidecar.delivery.batch.work import Job
from sidecar.delivery.judge.checking import Unread
from sidecar.settings.goals import load_goal

JOB = Job(None, (load_goal("r128"),), "meter")


def told_by(file, job):
    """Work that names its process."""
    return Unread(file, f"{os.getpid()}")


def ended(file, job):
    """Work that a decoder's crash ends."""
    if "crash" in file:
        os.kill(os.getpid(), signal.SIGSEGV)
    return Unread(file, "read")


def ended_once(file, job):
    """Work that another process ends, the first time."""
    try:
        Path(file).touch(exist_ok=False)
    except FileExistsError:
        return Unread(file, "read")
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError("never reached")


def until_alone(file, job):
    """Work that writes who does it, and is done when no receiver is left."""
    parent = os.getppid()
    Path(file).write_text(f"{os.getpid()}")
    while os.getppid() == parent:
        threading.Event().wait(0.02)
    return Unread(file, "too late")


def done(crew, files):
    return [result for result in crew.results(iter(files)) if result is not None]


@pytest.mark.slow
def test_each_file_is_done_once_by_some_process():
    """None of them this one; at the end none is at work."""
    files = [f"{number}.wav" for number in range(20)]
    crew = MeasuringProcesses(JOB, 3, told_by)
    results = done(crew, files)

    assert files == sorted((result.file for result in results), key=files.index)
    assert str(os.getpid()) not in {result.error for result in results}
    assert crew.at_work_on == []


@pytest.mark.slow
def test_a_file_that_ends_processes_is_told_of_and_the_rest_is_done():
    """Two processes are lost to it, no file."""
    files = ["a.wav", "crash.wav", "b.wav", "c.wav"]
    results = {result.file: result.error for result in done(MeasuringProcesses(JOB, 2, ended), files)}

    assert files == sorted(results, key=files.index)
    assert "crash.wav cannot be measured: each process that tried was ended" in results.pop("crash.wav")
    assert set(results.values()) == {"read"}


@pytest.mark.slow
def test_a_process_that_somebody_ends_loses_no_file(tmp_path):
    """Another does what it was at."""
    files = [str(tmp_path / name) for name in "abc"]

    assert [Unread(file, "read") for file in files] == sorted(
        done(MeasuringProcesses(JOB, 1, ended_once), files), key=lambda result: result.file
    )


@pytest.mark.slow
def test_the_processes_end_with_the_one_that_is_killed(tmp_path):
    """They have no receiver, and leave nothing running."""
    mark = tmp_path / "pid"
    code = (
        "import sys; from test_archive_crew import JOB, MeasuringProcesses, until_alone\n"
        "list(MeasuringProcesses(JOB, 1, until_alone).results(iter(sys.argv[1:])))"
    )
    parent = subprocess.Popen([sys.executable, "-c", code, mark], cwd=Path(__file__).parent)
    moment = threading.Event()
    while not (mark.exists() and mark.read_text()):
        assert parent.poll() is None
        moment.wait(0.05)
    parent.kill()
    parent.wait()
    child = Path(f"/proc/{mark.read_text()}")
    for _ in range(600):
        if not child.exists():
            break
        moment.wait(0.05)

    assert not child.exists()
