"""Every way in which a run can end: what is told, what is on record, and what is left on the terminal."""

import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from terminal import OwnTerminal

from sidecar.journal import reader
from sidecar.osc import wire

RATE_HZ = 48_000
LIMIT_S = 120.0  # the first run on a machine compiles the meter
END_S = 30.0
BROKEN = Path(__file__).with_name("broken_run.py")


class Ear:
    """A UDP socket that keeps what it hears."""

    def __init__(self):
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.setblocking(False)
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        self.place = f"127.0.0.1:{self.socket.getsockname()[1]}"
        self.heard = []

    def of(self, address):
        """Arguments of all messages to *address* so far."""
        try:
            while True:
                self.heard += wire.parse(self.socket.recv(65_535))
        except BlockingIOError:
            return [arguments for name, arguments in self.heard if name == address]

    def wait_for(self, address, argument):
        end_s = time.monotonic() + LIMIT_S
        while not any(arguments[0] == argument for arguments in self.of(address)):
            assert time.monotonic() < end_s, f"{argument} was never sent to {address}"
            time.sleep(0.05)


@pytest.fixture
def ears():
    made = Ear(), Ear()
    yield made
    for ear in made:
        ear.socket.close()


@pytest.fixture
def loud_file(tmp_path):
    """Minutes of noise at some -10 LUFS: the lamp is on."""
    noise = np.random.default_rng(3).standard_normal((120 * RATE_HZ, 2)) * 0.2
    file = tmp_path / "loud.wav"
    soundfile.write(file, noise, RATE_HZ, subtype="FLOAT")
    return file


def command(program, loud_file, ears, *more):
    osc, lamp = ears
    places = ("--osc", osc.place, "--osc-port", "0", "--light", f"lamp={lamp.place}")
    return [sys.executable, *program, "live", "--file", str(loud_file), *places, *more]


def assert_good_order(ears):
    """The last words over OSC, a lamp that is safe, and a pass that has an end."""
    osc, lamp = ears
    assert ["ended"] == osc.of("/sidecar/transport")[-1]
    assert osc.of("/sidecar/alert/hot")
    assert "/sidecar/alert/hot" in {name for name, _ in osc.heard[-60:]}
    assert [[0], [0], [0]] == lamp.of("/lamp")[-3:]
    [kept] = reader.passes()
    assert kept.ended is not None
    assert kept.blocks > 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP], ids=lambda n: n.name)
def test_a_signal_ends_a_run_without_a_screen(number, loud_file, ears):
    """A system that goes down and a terminal that is closed: exit code 0, all told, as after Ctrl-C."""
    run = subprocess.Popen(
        command(["-m", "sidecar"], loud_file, ears, "--no-screen", "--json"),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    ears[1].wait_for("/lamp", 1)
    run.send_signal(number)
    _, errors = run.communicate(timeout=END_S)

    assert (0, "") == (run.returncode, errors)
    assert_good_order(ears)


def test_a_signal_gives_the_terminal_back(loud_file, ears):
    """With the screen on, too; the shell that follows finds its terminal as it was."""
    with OwnTerminal() as terminal:
        run = terminal.start(command(["-m", "sidecar"], loud_file, ears))
        ears[1].wait_for("/lamp", 1)
        run.send_signal(signal.SIGTERM)

        assert 0 == run.wait(END_S)
        assert terminal.is_as_before
        assert b"\x1b[?1049h" in terminal.shown
    assert b"Traceback" not in terminal.shown
    assert_good_order(ears)


@pytest.mark.parametrize("how", [[], ["--no-screen", "--json"]], ids=["screen", "lines"])
def test_a_terminal_that_is_closed_ends_the_run_in_good_order(how, loud_file, ears):
    """Nothing can be shown any more; lamps, OSC and the record get their end all the same."""
    with OwnTerminal() as terminal:
        run = terminal.start(command(["-m", "sidecar"], loud_file, ears, *how))
        ears[1].wait_for("/lamp", 1)
        terminal.hang_up()

        assert 0 == run.wait(END_S)
    assert_good_order(ears)


def test_a_fault_of_our_own_ends_a_run_in_one_sentence(loud_file, ears):
    """Nobody sees a traceback; the exit code is 2, and the record is kept up to the fault."""
    run = subprocess.run(
        command([BROKEN], loud_file, ears, "--no-screen", "--json"),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        timeout=LIMIT_S,
    )

    assert 2 == run.returncode
    assert run.stderr.startswith("sidecar: The sidecar has failed inside (ZeroDivisionError(")
    assert "Traceback" not in run.stderr
    assert_good_order(ears)


def test_a_fault_of_our_own_is_said_on_the_screen(loud_file, ears):
    """The screen stays, with the sentence; leaving it gives the terminal back and exit code 2."""
    with OwnTerminal() as terminal:
        run = terminal.start(command([BROKEN], loud_file, ears))
        ears[0].wait_for("/sidecar/transport", "ended")
        end_s = time.monotonic() + END_S
        while b"failed inside" not in terminal.shown:
            assert time.monotonic() < end_s
            time.sleep(0.05)
        run.send_signal(signal.SIGTERM)

        assert 2 == run.wait(END_S)
        assert terminal.is_as_before
    assert b"Traceback" not in terminal.shown
    assert_good_order(ears)
