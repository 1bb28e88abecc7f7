"""Every way in which a run can end: what is sent, what is on record, and what is left on the terminal."""

import os
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile
from ear import Ear
from terminal import OwnTerminal

from sidecar.journal import reader

pytestmark = pytest.mark.slow


RATE_HZ = 48_000
LIMIT_S = 120.0  # the first run on a machine compiles the meter
END_S = 30.0
BROKEN = Path(__file__).with_name("broken_run.py")


@dataclass
class Outcome:
    """How one run ended."""

    osc: Ear
    lamp: Ear
    folder: Path
    code: int
    errors: str = ""
    shown: bytes = b""
    is_as_before: bool = False
    """Whether its terminal is."""


class Run:
    """A run on a loud file, with a lamp, and a record of its own."""

    def __init__(self, folder, loud_file, program=("-m", "sidecar"), lines=()):
        self.osc, self.lamp, self.folder = Ear(), Ear(), folder
        places = ("--osc", self.osc.place, "--osc-port", "0", "--light", f"lamp={self.lamp.place}")
        self.command = [sys.executable, *program, "live", "--file", str(loud_file), *places, *lines]
        self.environment = {**os.environ, "XDG_DATA_HOME": str(folder), "XDG_STATE_HOME": str(folder)}

    def without_terminal(self, *numbers, within=()):
        """Sends it one signal after another, as long as it measures. within: the command that runs it."""
        run = subprocess.Popen(
            [*within, *self.command],
            env=self.environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            for number in numbers:
                self.lamp.wait_for("/lamp", 1)
                self.osc.wait_for_more("/sidecar/seconds")
                run.send_signal(number)
            _, errors = run.communicate(timeout=LIMIT_S)
        finally:
            run.kill()
        return Outcome(self.osc, self.lamp, self.folder, run.returncode, errors)

    def on_terminal(self, *ends, controls=True, fails=False):
        """Each of *ends*, called with terminal and process, brings the end about once the lamp is on.
        fails: the run fails by itself first."""
        with OwnTerminal() as terminal:
            run = terminal.start(self.command, self.environment, controls=controls)
            try:
                self.lamp.wait_for("/lamp", 1)
                if fails:
                    self.osc.wait_for("/sidecar/transport", "ended")
                for end in ends:
                    end(terminal, run)
                code = run.wait(END_S)
            finally:
                run.kill()
            as_before = terminal.is_open and terminal.is_as_before
            return Outcome(
                *(self.osc, self.lamp, self.folder, code), shown=terminal.shown, is_as_before=as_before
            )


def hang_up(terminal, _run):
    terminal.hang_up()


def stop_reading(terminal, _run):
    terminal.stop_reading()


def hold_up(terminal, _run):
    """Stops reading amid a drawing: the screen waits for an answer of the terminal that never comes."""
    terminal.stop_reading()


def terminate(_terminal, run):
    run.send_signal(signal.SIGTERM)


def interrupt(_terminal, run):
    run.send_signal(signal.SIGINT)


def say_that_it_hung_up(_terminal, run):
    run.send_signal(signal.SIGHUP)


LINES = ("--no-screen", "--json")
WAYS = {
    "SIGTERM, lines": lambda *at: Run(*at, lines=LINES).without_terminal(signal.SIGTERM),
    "SIGHUP, lines": lambda *at: Run(*at, lines=LINES).without_terminal(signal.SIGHUP),
    "SIGTERM after SIGHUP, nohup": lambda *at: Run(*at, lines=LINES).without_terminal(
        signal.SIGHUP, signal.SIGTERM, within=["nohup"]
    ),
    "SIGTERM, screen": lambda *at: Run(*at).on_terminal(terminate),
    "closed terminal, lines": lambda *at: Run(*at, lines=LINES).on_terminal(hang_up),
    "closed terminal, screen": lambda *at: Run(*at).on_terminal(hang_up),
    "closed terminal of others, screen": lambda *at: Run(*at).on_terminal(hang_up, controls=False),
    "fault, lines": lambda *at: Run(*at, program=[BROKEN], lines=LINES).without_terminal(),
    "fault, screen": lambda *at: Run(*at, program=[BROKEN]).on_terminal(terminate, fails=True),
    "SIGTERM, stuck screen": lambda *at: Run(*at).on_terminal(hold_up, terminate),
    "SIGINT, stuck screen": lambda *at: Run(*at).on_terminal(hold_up, interrupt),
    "SIGHUP, stuck screen": lambda *at: Run(*at).on_terminal(hold_up, say_that_it_hung_up),
    "closed terminal, stuck screen": lambda *at: Run(*at).on_terminal(hold_up, hang_up),
    "closed terminal of others, stuck screen": lambda *at: Run(*at).on_terminal(
        hold_up, hang_up, controls=False
    ),
    "two SIGTERMs and closed, stuck screen": lambda *at: Run(*at).on_terminal(
        hold_up, terminate, terminate, hang_up, controls=False
    ),
    "fault, stuck screen": lambda *at: Run(*at, program=[BROKEN]).on_terminal(
        stop_reading, terminate, fails=True
    ),
}
AT_ONCE = 16


@pytest.fixture(scope="module")
def endings(tmp_path_factory):
    """Many at once: each run waits for real seconds, not for the processor."""
    folder = tmp_path_factory.mktemp("endings")
    noise = np.random.default_rng(3).standard_normal((60 * RATE_HZ, 2)) * 0.2  # some -10 LUFS: the lamp is on
    loud_file = folder / "loud.wav"
    soundfile.write(loud_file, noise, RATE_HZ, subtype="FLOAT")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        made = {
            name: pool.submit(way, folder / str(place), loud_file)
            for place, (name, way) in enumerate(WAYS.items())
        }
    yield made
    for ended in made.values():
        if ended.exception() is None:
            ended.result().osc.socket.close()
            ended.result().lamp.socket.close()


@pytest.mark.parametrize("way", WAYS)
def test_whatever_ends_a_run_its_last_words_are_said(way, endings, monkeypatch):
    """The end and the alerts over OSC, a lamp that is safe, and a pass that has its end on record."""
    ended = endings[way].result()
    monkeypatch.setenv("XDG_DATA_HOME", str(ended.folder))
    [kept] = reader.passes()

    assert ended.osc.of("/sidecar/transport")[-1] == ["ended"]
    assert "/sidecar/alert/hot" in {name for name, _ in ended.osc.heard[-60:]}
    assert ended.lamp.of("/lamp")[-3:] == [[0], [0], [0]]
    assert kept.ended is not None
    assert kept.blocks > 0


@pytest.mark.parametrize("way", [way for way in WAYS if "fault" not in way])
def test_an_end_that_was_asked_for_is_none_to_complain_of(way, endings):
    """A system that goes down and a terminal that is closed: exit code 0, as after Ctrl-C."""
    ended = endings[way].result()

    assert (ended.code, ended.errors) == (0, "")
    assert b"Traceback" not in ended.shown


@pytest.mark.parametrize("way", ["SIGTERM, screen", "fault, screen"])
def test_the_terminal_is_given_back(way, endings):
    """The shell that follows finds its terminal as it was."""
    ended = endings[way].result()

    assert b"\x1b[?1049h" in ended.shown
    assert ended.is_as_before
    assert b"Traceback" not in ended.shown


def test_a_fault_of_our_own_is_one_sentence(endings):
    """Nobody sees a traceback; the exit code is 2."""
    ended = endings["fault, lines"].result()

    assert [endings[way].result().code for way in WAYS if "fault" in way] == [2, 2, 2]
    assert b"The sidecar has failed (ZeroDivisionError(" in endings["fault, screen"].result().shown
    assert ended.errors.startswith("sidecar: The sidecar has failed (ZeroDivisionError(")
    assert "Traceback" not in ended.errors
