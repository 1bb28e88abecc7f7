"""A screen without a run of its own, on a pass that is over or one elsewhere: every way in which it ends."""

import os
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import pytest
import soundfile
from ear import Ear
from terminal import OwnTerminal

pytestmark = pytest.mark.slow


RATE_HZ = 48_000
END_S = 30.0


@dataclass
class Outcome:
    code: int
    shown: bytes
    is_as_before: bool
    """Whether its terminal is; one that was closed is not."""


def shown_until(command, *ends, controls=True):
    """Each of *ends*, called with terminal and process, brings the end of what is shown about."""
    with OwnTerminal() as terminal:
        run = terminal.start([sys.executable, "-m", "sidecar", *command], os.environ, controls=controls)
        try:
            terminal.wait_for(b"Quit")
            for end in ends:
                end(terminal, run)
            code = run.wait(END_S)
        finally:
            run.kill()
        return Outcome(code, terminal.shown, terminal.is_open and terminal.is_as_before)


def hang_up(terminal, _run):
    terminal.hang_up()


def stop_reading(terminal, _run):
    terminal.stop_reading()


def terminate(_terminal, run):
    run.send_signal(signal.SIGTERM)


def interrupt(_terminal, run):
    run.send_signal(signal.SIGINT)


WAYS = {
    "SIGTERM": lambda what: shown_until(what, terminate),
    "SIGINT": lambda what: shown_until(what, interrupt),
    "closed": lambda what: shown_until(what, hang_up),
    "closed, of others": lambda what: shown_until(what, hang_up, controls=False),
    "SIGTERM, stuck": lambda what: shown_until(what, stop_reading, terminate),
    "closed, stuck": lambda what: shown_until(what, stop_reading, hang_up),
    "closed, of others, stuck": lambda what: shown_until(what, stop_reading, hang_up, controls=False),
}
COMMANDS = ("review", "screen")


@pytest.fixture(scope="module")
def run_elsewhere():
    """It receives requests, and never answers."""
    ear = Ear()
    yield ear
    ear.socket.close()


@pytest.fixture(scope="module")
def endings(tmp_path_factory, run_elsewhere):
    """All ways of both commands at once: the slowest of them waits for real seconds."""
    mix = tmp_path_factory.mktemp("screens") / "mix.wav"
    noise = np.random.default_rng(3).standard_normal((10 * RATE_HZ, 2)) * 0.05
    soundfile.write(mix, noise, RATE_HZ, subtype="FLOAT")
    shown = {"review": ("review", str(mix)), "screen": ("screen", "--attach", run_elsewhere.place)}
    with ThreadPoolExecutor(len(WAYS) * len(COMMANDS)) as pool:
        return {
            (command, way): pool.submit(end, shown[command])
            for command in COMMANDS
            for way, end in WAYS.items()
        }


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_screen_ends_by_itself_whatever_becomes_of_its_terminal(command, way, endings):
    """With exit code 0 and nothing to complain of."""
    ended = endings[command, way].result()

    assert ended.code == 0
    assert b"Traceback" not in ended.shown


@pytest.mark.parametrize("way", ["SIGTERM", "SIGINT"])
@pytest.mark.parametrize("command", COMMANDS)
def test_who_is_asked_to_end_gives_the_terminal_back(command, way, endings):
    """The shell that follows finds its modes and its usual screen."""
    assert endings[command, way].result().is_as_before


def test_a_run_elsewhere_is_told_that_nobody_looks_any_more(endings, run_elsewhere):
    """Each of the screens says so at its end, also without its terminal."""
    for way in WAYS:
        endings["screen", way].result()

    assert len(WAYS) == len(run_elsewhere.of("/sidecar/unwatch"))


@pytest.mark.parametrize(
    "command", [("rehearse", "--osc-port", "0"), ("review", "mix.wav"), ("screen", "--attach", "127.0.0.1:9")]
)
def test_without_a_terminal_there_is_no_screen(command, tmp_path):
    """One sentence and exit code 2: no key could end it."""
    soundfile.write(tmp_path / "mix.wav", np.zeros((RATE_HZ, 2)), RATE_HZ)
    said = subprocess.run(
        [sys.executable, "-m", "sidecar", *command],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=END_S,
        check=False,
    )

    assert (said.returncode, said.stdout) == (2, "")
    assert said.stderr.startswith("sidecar: The screen needs a terminal")
    assert said.stderr.count("\n") == 1
