"""A peer that is not written in Python: liblo's command-line tools send to a whole run and receive from it.

Debian: ``apt install liblo-tools``.
"""

import re
import socket
import subprocess
import sys
import threading
import time

import pytest
from needs import need

from sidecar.osc import codec

PATIENCE_S = 240.0  # the first run on a machine compiles the meter


def free_port(kind=socket.SOCK_DGRAM):
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Lines:
    """What a process prints, line by line, as far as it has come."""

    def __init__(self, process):
        self.lines = []
        self.process = process
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self):
        for line in self.process.stdout:
            self.lines.append(line)

    def until(self, pattern):
        """The first line with *pattern*, waited for."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            found = next((line for line in list(self.lines) if re.search(pattern, line)), None)
            if found:
                return found
            time.sleep(0.02)
        raise AssertionError(f"{pattern} never came; the last lines: {self.lines[-5:]}")


@pytest.fixture(scope="module")
def run():
    """A rehearsal in a process of its own that sends to an oscdump: its ports, what is dumped."""
    need("oscdump")
    heard_at, command_at, stream_at = free_port(), free_port(), free_port(socket.SOCK_STREAM)
    dump = subprocess.Popen(["oscdump", "-L", str(heard_at)], stdout=subprocess.PIPE, text=True)
    sidecar = subprocess.Popen(
        [
            *(sys.executable, "-m", "sidecar", "rehearse", "--no-screen", "--json"),
            *("--osc", f"127.0.0.1:{heard_at}", "--osc-port", str(command_at)),
            *("--osc-tcp", str(stream_at)),
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    dumped, told = Lines(dump), Lines(sidecar)
    yield command_at, stream_at, dumped
    for process, lines in ((sidecar, told), (dump, dumped)):
        process.kill()
        lines.reader.join(PATIENCE_S)
        process.wait(PATIENCE_S)
        process.stdout.close()


def send(port, *message):
    subprocess.run(["oscsend", "127.0.0.1", str(port), *message], check=True, timeout=PATIENCE_S)


@pytest.mark.slow
def test_readings_are_printed_with_the_types_that_the_table_promises(run):
    """Floats, a text, and an alert with its three values."""
    _, _, dumped = run

    assert re.search(r" f -\d+\.\d+$", dumped.until(r"/sidecar/momentary f -[1-9]\d"))
    assert dumped.until(r'/sidecar/transport s "measuring"')
    assert dumped.until(r"/sidecar/alert/hot iff [012] -?\d+\.\d+ -?\d+\.\d+")


@pytest.mark.slow
def test_texts_are_read_with_their_signs(run):
    """UTF-8 for another's parser too, there and back: the minus of a level is the printed one."""
    port, _, dumped = run
    dumped.until(r"/sidecar/seconds f")
    send(port, "/sidecar/mark", "s", "voice −3 dB")

    assert dumped.until(r'/sidecar/marked .*"voice −3 dB"')


def dropped(port):
    """How many messages the run has dropped, by reason."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        asker.settimeout(PATIENCE_S)
        asker.sendto(codec.message("/sidecar/drops/*", "", []).dgram, ("127.0.0.1", port))
        counts = codec.parse(asker.recv(65_535))
    return {address.rsplit("/", 1)[1]: count for address, [count] in counts if count}


def test_a_goal_a_mark_and_a_reset_are_carried_out(run):
    """The new goal comes back over OSC, the seconds begin anew, and nothing of it was refused."""
    port, _, dumped = run
    dumped.until(r"/sidecar/seconds f [3-9]\.\d")
    send(port, "/sidecar/goal", "s", "a85")
    assert dumped.until(r'/sidecar/goal/name s "a85"')
    send(port, "/sidecar/mark", "s", "chorus")
    before = len(dumped.lines)
    send(port, "/sidecar/reset")
    del dumped.lines[:before]

    assert dumped.until(r"/sidecar/seconds f 0\.\d")
    assert dropped(port) == {}


@pytest.mark.slow
def test_what_is_wrong_is_counted_and_changes_nothing(run):
    """A goal of the wrong type and an address that is none; the goal is what it was."""
    port, _, dumped = run
    dumped.lines.clear()
    before = dumped.until(r"/sidecar/goal/name")
    send(port, "/sidecar/goal", "i", "3")
    send(port, "/sidecar/nothing")
    end = time.monotonic() + PATIENCE_S
    while dropped(port) != {"argument": 1, "address": 1} and time.monotonic() < end:
        time.sleep(0.05)
    dumped.lines.clear()

    assert dropped(port) == {"argument": 1, "address": 1}
    assert before.split()[-1] == dumped.until(r"/sidecar/goal/name").split()[-1]


def test_the_same_goes_over_tcp(run):
    """liblo puts sizes in front, as OSC 1.0 has it for streams."""
    _, stream, dumped = run
    url = f"osc.tcp://127.0.0.1:{stream}"
    subprocess.run(["oscsend", url, "/sidecar/goal", "s", "r128-s1"], check=True, timeout=PATIENCE_S)

    assert dumped.until(r'/sidecar/goal/name s "r128-s1"')
