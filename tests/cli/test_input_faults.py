"""Faults on the input and in the surroundings: each has its sentence and its exit code, never a traceback."""

import io
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from rich.console import Console

import sidecar.cli.commands.check
from sidecar.cli import main
from sidecar.cli.terminal import compile_beside, first_run
from sidecar.cli.terminal.progress import Interrupted, each
from sidecar.delivery.batch.paths import listed
from sidecar.delivery.measure import whole_file
from sidecar.errors import SettingsError
from sidecar.meter import Meter, windows
from sidecar.native import kernels

RATE_HZ = 48_000


def a_wave(path):
    soundfile.write(path, 0.05 * np.random.default_rng(1).standard_normal((RATE_HZ, 2)), RATE_HZ)
    return path


class Input:
    def __init__(self, content):
        self.buffer = io.BytesIO(content)


@pytest.mark.parametrize("start", [b"RIFF", b"RF64", b"fLaC", b"OggS", b"FORM", b"caff"])
def test_audio_on_the_standard_input_is_no_list(capsys, monkeypatch, start):
    monkeypatch.setattr("sys.stdin", Input(start + bytes(5000)))

    assert main(["check", "-"]) == 2
    assert "is audio. Give that file itself." in capsys.readouterr().err


def test_bytes_without_a_header_are_no_list(capsys, monkeypatch):
    """Raw samples, or names with NUL between them."""
    monkeypatch.setattr("sys.stdin", Input(bytes(range(256)) * 100))

    assert main(["check", "-"]) == 2
    assert "is no text" in capsys.readouterr().err


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_a_list_may_be_saved_as_any_editor_saves_it(coding):
    """UTF-16 by its mark; 70,000 lines, so that letters fall across the pieces that are read."""
    names = [f"Bühne {number} 𝄞.wav" for number in range(70_000)]
    mark = "\ufeff" if coding in ("utf-16-le", "utf-16-be") else ""
    content = (mark + "\r\n".join(names) + "\r\n").encode(coding)

    assert list(listed(io.BytesIO(content), b"\n")) == names


def test_a_list_that_begins_as_utf_16_and_breaks_off(tmp_path, capsys):
    (tmp_path / "list.txt").write_bytes("a.wav\n".encode("utf-16")[:-1])

    assert main(["check", "--list", str(tmp_path / "list.txt")]) == 2
    assert "Save it as UTF-8" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="names are bytes there alone")
def test_names_that_are_no_text_are_json_all_the_same(tmp_path):
    """Of a file that is measured and of one that is not, through a real pipe."""
    folder = os.fsencode(tmp_path)
    a_wave(tmp_path / "a.wav").rename(os.fsdecode(folder + b"/\xff\xfe.wav"))
    Path(os.fsdecode(folder + b"/\xe9.wav")).write_bytes(b"none")
    run = subprocess.run(
        [sys.executable, "-m", "sidecar", "check", "--json", tmp_path], capture_output=True, check=False
    )
    broken, measured = json.loads(run.stdout.decode("utf-8"))

    assert run.returncode == 2
    assert b"Traceback" not in run.stderr
    assert os.fsencode(measured["file"]).endswith(b"\xff\xfe.wav")
    assert "error" in broken
    assert os.fsencode(broken["file"]).endswith(b"\xe9.wav")


def test_what_was_measured_is_there_when_work_is_interrupted(interruptible):
    """Results in their places; nothing for what was not finished."""

    def work(place, tell, _workers):
        if place == 2:
            os.kill(os.getpid(), signal.SIGINT)
            while True:
                tell(0.5)
        return place

    with pytest.raises(Interrupted) as interrupted:
        each([Path(f"{number}.wav") for number in range(5)], work, processors=1)
    assert interrupted.value.done == [0, 1, None, None, None]


@pytest.fixture
def interruptible():
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.parametrize("form", [[], ["--json"]])
def test_a_check_that_is_interrupted_shows_what_was_measured(
    tmp_path, capsys, monkeypatch, interruptible, form
):
    files = [str(a_wave(tmp_path / f"{name}.wav")) for name in ("first", "second", "third")]
    measuring = sidecar.cli.commands.check.check_file

    def check_file(file, layout, goals, progress, *more, **named):
        if file == files[1]:
            os.kill(os.getpid(), signal.SIGINT)
            while True:
                progress(0.5)
        return measuring(file, layout, goals, progress, *more, **named)

    monkeypatch.setattr(sidecar.cli.commands.check, "check_file", check_file)

    assert main(["check", "--jobs", "1", *form, *files]) == 130
    shown = capsys.readouterr()
    assert "first.wav" in shown.out
    assert "second.wav" not in shown.out
    assert "Interrupted: 1 of 3 files were measured." in shown.err


def test_a_list_that_is_none_is_a_setting():
    with pytest.raises(SettingsError, match="is audio"):
        list(listed(io.BytesIO(b"RIFF"), b"\n"))


@pytest.mark.parametrize("is_kept", [True, False])
def test_processes_side_by_side_find_the_meter_compiled(monkeypatch, is_kept):
    """Where nothing is kept yet, one second is measured before they begin; else nothing is."""
    measured = []
    monkeypatch.setattr(kernels, "is_kept", lambda _kernel: is_kept)

    def measure(path, workers):
        measured.append(soundfile.info(path).duration)

    monkeypatch.setattr(whole_file, "measure", measure)
    first_run.compile_once(Console(stderr=True))

    assert measured == ([] if is_kept else [1.0])


def test_the_second_process_of_a_first_run_compiles_the_forms_that_measuring_needs():
    """They were compiled by measuring a file before these tests: any other form would be compiled now."""
    compiled = []
    with kernels.compiling_reported(lambda at, _of: compiled.append(at)):
        compile_beside.compile_meter()
        compile_beside.compile_facts()

    assert compiled == []


def test_the_meter_is_kept_once_it_has_measured():
    Meter().push(np.zeros((48_000, 2)))

    assert kernels.is_kept(windows.slide_windows)


def test_a_run_whose_audio_file_is_incomplete_ends_with_2(tmp_path, capfd, files_end_at):
    """The run goes on to its end; a script must not take what was written for the whole."""
    soundfile.write(tmp_path / "mix.wav", np.full((4 * RATE_HZ, 2), 0.1), RATE_HZ, subtype="FLOAT")
    run = ("live", "--file", str(tmp_path / "mix.wav"), "--pace", "fast", "--no-screen", "--osc-port", "0")
    with files_end_at(1_000_000):
        code = main([*run, "--write", str(tmp_path / "kept.wav")])
    printed, faults = capfd.readouterr()

    assert code == 2
    assert "0:04 ended" in printed
    assert f"{tmp_path}/kept.wav is incomplete: File too large." in faults
