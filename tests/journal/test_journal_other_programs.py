"""The record beside other runs and programs that look at it."""

import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from journal_waiting import wait_until
from known_signal import ABOUT, Measuring

from sidecar.cli import main
from sidecar.errors import RecordError
from sidecar.journal import reader, schema, writer
from sidecar.journal.writer import Journal
from sidecar.model.readings import Reading


@pytest.fixture
def file(tmp_path):
    return tmp_path / "passes.sqlite"


def hear(entry, blocks=1):
    values = np.ones(blocks)
    entry.add_blocks(values, values, values, 0.0, Reading())


def recorded(file):
    return sum(summary.blocks for summary in reader.passes(file))


def test_a_pass_that_another_run_is_writing_is_not_gone_on_with(file):
    journal = Journal(file, period_s=0.005)
    hear(journal.begin(ABOUT))
    wait_until(lambda: recorded(file) == 1)
    with pytest.raises(RecordError, match=r"Pass 1 is still being written by another run\. End that run"):
        reader.to_resume(file)
    journal.close()

    assert reader.to_resume(file).summary.id == 1


def test_a_run_that_would_go_on_with_it_is_refused_before_it_begins(file, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(schema, "data_folder", lambda: tmp_path)
    soundfile.write(tmp_path / "mix.wav", np.zeros((4_800, 2)), 48_000)
    journal = Journal(file, period_s=0.005)
    hear(journal.begin(ABOUT))
    wait_until(lambda: recorded(file) == 1)
    code = main(
        [
            "live",
            "--file",
            str(tmp_path / "mix.wav"),
            "--pace",
            "fast",
            "--no-screen",
            "--osc-port",
            "0",
            "--resume",
        ]
    )
    journal.close()

    assert code == 2
    assert "Pass 1 is still being written by another run" in capsys.readouterr().err
    assert recorded(file) == 1


@pytest.mark.slow
def test_a_pass_whose_run_was_killed_is_gone_on_with_and_leaves_nothing(file):
    code = (
        "import os, signal, sys; from pathlib import Path\n"
        "from test_journal_other_programs import *\n"
        "journal = Journal(Path(sys.argv[1]), period_s=0.005); hear(journal.begin(ABOUT))\n"
        "wait_until(lambda: recorded(Path(sys.argv[1])) == 1); os.kill(os.getpid(), signal.SIGKILL)"
    )
    killed = subprocess.run([sys.executable, "-c", code, file], check=False, cwd=Path(__file__).parent)
    assert killed.returncode == -signal.SIGKILL
    assert len(list(file.parent.glob("*-run-*"))) == 1
    journal = Journal(file, period_s=0.005)
    hear(journal.resume(reader.to_resume(file)))
    wait_until(lambda: recorded(file) == 2)

    assert len(list(file.parent.glob("*-run-*"))) == 1
    journal.close()
    assert [path.name for path in file.parent.iterdir()] == ["passes.sqlite"]


def test_of_two_runs_that_go_on_with_a_pass_at_once_one_gets_it(file):
    """Both read it before either wrote: the audio of the second is a pass of its own, and nothing is lost."""
    journal = Journal(file, period_s=0.005)
    hear(journal.begin(ABOUT), blocks=3)
    journal.close()
    record = reader.to_resume(file)
    first, second = Journal(file, period_s=0.005), Journal(file, period_s=0.005)
    first.resume(record)  # takes it over with a cut alone: no block shows it to the second
    wait_until(lambda: reader.load(1, file).cuts)
    hear(second.resume(record))
    second.close()
    first.close()

    assert [summary.blocks for summary in reader.passes(file)] == [3, 4]
    assert reader.load(1, file).energy.tolist() == [1.0, 1.0, 1.0]


@pytest.fixture
def short_logs(monkeypatch):
    """Bounds that are reached within a second."""
    monkeypatch.setattr(writer, "_LONG_LOG_BYTES", 128 << 10)
    monkeypatch.setattr(writer, "_LONGEST_LOG_BYTES", 512 << 10)
    monkeypatch.setattr(writer, "_RARELY", 2)
    monkeypatch.setattr(writer, "_PATIENCE_S", 0.01)


@pytest.mark.slow
def test_a_look_that_stays_open_does_not_let_the_log_grow_without_end(file, short_logs):
    """Some of it waits in memory, the screen says why, and all is written once the look has ended."""
    journal = Journal(file, period_s=0.005)
    entry = journal.begin(ABOUT)
    measuring = Measuring().go_on(1, entry)
    wait_until(lambda: recorded(file) == 1)
    look = sqlite3.connect(file, isolation_level=None)
    look.execute("BEGIN")
    look.execute("SELECT count(*) FROM passes").fetchone()

    def is_said():
        measuring.go_on(1, entry)
        return journal.fault

    wait_until(is_said)
    measuring.go_on(30, entry)
    log_bytes = schema.log_of(file).stat().st_size

    assert f"another program has kept {file} open in an old state for long; end it" in journal.fault
    assert 512 << 10 <= log_bytes < 640 << 10
    look.close()
    wait_until(lambda: not journal.fault)
    assert schema.log_of(file).stat().st_size < log_bytes
    journal.close()
    assert reader.latest(file).energy.tolist() == measuring.energies
