"""The options of a run that say who may speak and how, from the command line to the socket."""

import socket
import subprocess
import sys
import time

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.osc import codec
from sidecar.osc.sockets.framing import Slip
from sidecar.osc.sockets.udp import bind

PATIENCE_S = 240.0  # the first run on a machine compiles the meter


@pytest.fixture
def tone(tmp_path):
    """Twenty seconds at −23 dBFS, a file."""
    sine = 10 ** (-23 / 20) * np.sin(2 * np.pi * 1000 / 48_000 * np.arange(20 * 48_000))
    soundfile.write(tmp_path / "tone.wav", np.stack([sine, sine], axis=1), 48_000)
    return str(tmp_path / "tone.wav")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--osc-allow", "everyone"], "'everyone' cannot be allowed to send OSC"),
        (["--osc", "127.0.0.1:9000/alarms"], "after the slash give groups"),
        (["--osc-root", "/studio/"], "'/studio/' cannot be the root of OSC addresses"),
        (["--osc", "127.0.0.1:9000@99"], "after the @ give readings a second, 1 to 50"),
        (["--stems", "a,b"], "2 stems need 4 channels, two each, and there are 2"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(tone, capsys, options, words):
    """Before anything is measured, with exit code 2 and what to give instead."""
    code = main(["live", "--file", tone, "--no-screen", "--osc-port", "0", *options])
    said = capsys.readouterr().err

    assert code == 2
    assert words in said
    assert len(said.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--rate", "1000"], "--rate: give 8000 to 384000 Hz, not 1000."),
        (["--stems", "a,b,c", "--channels", "4"], "3 stems need 6 channels, two each, and there are 4"),
        (["--stems", "a,b", "--pick", "3,4"], "2 stems need 4 channels, two each, and there are 2"),
    ],
)
def test_what_cannot_be_measured_is_refused_before_an_input_is_opened(monkeypatch, capsys, options, words):
    monkeypatch.setattr("sidecar.cli.commands.live.DeviceSource", None)
    code = main(["live", "--no-screen", "--osc-port", "0", *options])
    told = capsys.readouterr()

    assert code == 2
    assert words in told.err
    assert (len(told.err.strip().splitlines()), told.out) == (1, "")


def test_a_tcp_port_in_use_is_refused_by_its_own_option(tone, capsys):
    """The message names the option of that port and not of the other."""
    taken = bind("127.0.0.1", 0, "--osc-tcp", socket.SOCK_STREAM)
    taken.listen()
    number = str(taken.getsockname()[1])
    code = main(["live", "--file", tone, "--no-screen", "--osc-port", "0", "--osc-tcp", number])
    taken.close()

    assert code == 2
    assert "--osc-tcp" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.parametrize("root", ["/sidecar", "/room/two"])
def test_a_run_streams_readings_to_what_watches_over_tcp(tone, root):
    """A whole process, one connection: alerts, readings of the file that plays, and a mark as it is set."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        number = probe.getsockname()[1]
    command = [
        *(sys.executable, "-m", "sidecar", "live", "--file", tone, "--no-screen"),
        *("--osc-port", "0", "--osc-tcp", str(number), "--osc", "127.0.0.1:9/auto", "--osc-root", root),
    ]
    run = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    try:
        with _connected(number) as caller:
            ask = codec.message(f"{root}/watch", "sss", [f"{root}/momentary", "alert", "mark"])
            mark = codec.message(f"{root}/mark", "s", ["refrain"])
            slip, heard = Slip(65_536), {}
            caller.sendall(slip.frame(ask.dgram))
            while heard.get(f"{root}/momentary", [-120.0])[0] < -24.0:
                _hear(caller, slip, heard)
            caller.sendall(slip.frame(mark.dgram))
            while f"{root}/marked" not in heard:
                _hear(caller, slip, heard)
    finally:
        run.kill()
        run.wait(PATIENCE_S)

    assert heard[f"{root}/watching"] == [60.0, 10.0, 7]
    assert heard[f"{root}/momentary"] == [pytest.approx(-23.0, abs=0.1)]  # Tech 3341 §2.9, line-up
    assert heard[f"{root}/alert/over"][:1] == [0]
    assert heard[f"{root}/marked"][1] == "refrain"
    assert {root} == {address[: len(root)] for address in heard}


def _hear(caller, slip, heard):
    for packet in slip.feed(caller.recv(65_536)):
        heard.update(codec.parse(packet))


def _connected(number):
    """A connection as soon as the run listens."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        try:
            return socket.create_connection(("127.0.0.1", number), timeout=PATIENCE_S)
        except ConnectionRefusedError:
            time.sleep(0.05)
    raise AssertionError("the run never listened")
