"""Lists and tables in a terminal: how they look, and what they say where there is nothing to list."""

import os
import subprocess
import sys

import numpy as np
import pytest
import soundfile

import sidecar.cli.commands.devices
import sidecar.sources.inputs
from sidecar.cli import main
from sidecar.sources.inputs import Inputs

FRAMES = "┃│┏┗└┡"
"""Signs of a table with walls."""


@pytest.fixture
def said(capsys, monkeypatch):
    """What a command prints on 80 columns."""
    monkeypatch.setenv("COLUMNS", "80")

    def run(*arguments, code=0):
        assert code == main(arguments)
        return capsys.readouterr().out

    return run


@pytest.mark.parametrize("command", ["goals", "light-test"])
def test_lists_look_like_the_tables_of_figures(said, command):
    """A line below the headings and no walls, so that figures stand out and nothing is wider than it must."""
    shown = said(command)

    assert "─" * 20 in shown
    assert [sign for sign in FRAMES if sign in shown] == []


def test_paths_are_printed_whole(said):
    """Not wrapped inside a column: they are there to be copied."""
    (line,) = [line for line in said("goals").splitlines() if line.startswith("Your own go into ")]

    assert line.endswith("goals, a TOML file each.")


def test_no_inputs_at_all_is_said_as_such(said, monkeypatch):
    """An empty table would say nothing, and of no input it cannot be said that it looks like no loopback."""
    monkeypatch.setattr(sidecar.cli.commands.devices, "list_devices", list)
    shown = said("devices")

    assert shown.startswith("There are no audio inputs: ")
    assert "loopback" not in shown


def test_the_doctor_does_not_tick_off_a_machine_without_inputs(said, monkeypatch):
    """Zero inputs are something missing, with the remedy."""
    monkeypatch.setattr(sidecar.sources.inputs, "ask_inputs", lambda: Inputs([], []))
    shown = said("doctor", code=1)

    assert "✗ live audio: no inputs: start the sound system" in shown


def test_the_doctor_breaks_no_words_on_a_terminal(said, monkeypatch):
    """What goes on is set in below its mark; a pipe gets a line a look, to be searched."""
    monkeypatch.setattr(sidecar.sources.inputs, "ask_inputs", lambda: Inputs([], []))
    in_a_pipe = said("doctor", code=1)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    on_a_terminal = said("doctor", code=1)

    assert max(map(len, in_a_pipe.splitlines())) > 80
    assert [line for line in on_a_terminal.splitlines() if len(line) > 80 and " " in line.strip()] == []
    assert in_a_pipe.split() == on_a_terminal.split()


def test_no_passes_are_no_empty_table(said):
    """One sentence."""
    assert said("passes") == "No pass on record yet. Measure one with sidecar live or sidecar rehearse.\n"


@pytest.fixture
def loud_file(tmp_path):
    """Tech 3341 §2.9: 1 kHz in phase on two channels reads its peak level, −14 LUFS."""
    tone = 10 ** (-14 / 20) * np.sin(2 * np.pi * 1000 * np.arange(3 * 48_000) / 48_000)
    soundfile.write(tmp_path / "loud.wav", np.stack([tone, tone], axis=1), 48_000)
    return str(tmp_path / "loud.wav")


@pytest.fixture
def steering_name(tmp_path):
    """A quiet tone whose name turns a terminal red and begins a new line."""
    path = tmp_path / "new\nline \x1b[31mred.wav"
    tone = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000)
    soundfile.write(path, np.stack([tone, tone], axis=1), 48_000)
    return str(path)


@pytest.mark.parametrize(
    ("command", "more"),
    [(("check",), ""), (("match",), ""), (("stamp", "--dry-run"), ""), (("live", "--file"), "missing")],
)
def test_names_do_not_steer_the_terminal(command, more, steering_name, capsys):
    """ECMA-48: what follows ESC is a command. A mark replaces it, in tables and in messages."""
    main([*command, steering_name + more])
    shown = "".join(capsys.readouterr())

    assert "\x1b" not in shown
    assert "new\ufffd" in shown


@pytest.mark.slow
@pytest.mark.parametrize("coding", ["ascii", "latin-1", "cp1252"])
def test_an_output_that_lacks_signs_gets_their_like(coding, loud_file):
    """A console of an older system, or a pipe on one, is no reason to fail: the figures arrive."""
    done = subprocess.run(
        [sys.executable, "-m", "sidecar", "check", loud_file],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": coding},
    )
    said = " ".join(done.stdout.decode(coding).split())

    assert (done.returncode, done.stderr) == (1, b"")
    assert "-14.0 LUFS is 8.8 LU over the highest that passes, -22.8 LUFS." in said
    assert "x fails" in said


@pytest.mark.slow
def test_a_closed_output_is_no_fault(loud_file):
    """``sidecar check … >&-`` is for who wants the exit code alone."""
    closing = ("sh", "-c", '"$0" -m sidecar check "$1" >&-', sys.executable, loud_file)
    done = subprocess.run(closing, capture_output=True, check=False)

    assert (done.returncode, done.stderr) == (1, b"")


def test_an_empty_file_is_told_from_one_of_another_kind(tmp_path, capsys):
    """``stamp`` of a WAV file that was never written says that it is empty."""
    (tmp_path / "zero.wav").touch()
    assert main(["stamp", str(tmp_path / "zero.wav")]) == 2

    assert "is empty" in " ".join(capsys.readouterr().out.split())
