"""Lamps and programs from the command line to the socket and the process, and what is refused."""

import json
import shlex
import socket
import sys

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.osc import codec


@pytest.fixture
def loud_file(tmp_path):
    """Four seconds of noise, some 6 LU above R 128's target: hot and over."""
    noise = np.random.default_rng(1).standard_normal((48_000 * 4, 2)) * 0.1
    soundfile.write(tmp_path / "loud.wav", noise, 48_000, subtype="FLOAT")
    return str(tmp_path / "loud.wav")


@pytest.mark.slow
def test_a_loud_run_lights_the_lamp_and_runs_the_program(tmp_path, loud_file):
    """The lamp is lit while it is loud and dark at the end; the program has received the goal."""
    told = tmp_path / "told"
    write = f"import os, pathlib; pathlib.Path({str(told)!r}).write_text(os.environ['SIDECAR_GOAL'])"
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as bulb:
        bulb.bind(("127.0.0.1", 0))
        bulb.setblocking(False)
        code = main(
            [
                *("live", "--file", loud_file, "--no-screen", "--osc-port", "0"),
                *("--light", f"lamp=127.0.0.1:{bulb.getsockname()[1]}"),
                *("--on", "hot", shlex.join([sys.executable, "-c", write])),
            ]
        )
        heard = everything(bulb)

    assert code == 0
    assert ("/lamp", [1]) in heard
    assert heard[-3:] == [("/lamp", [0])] * 3
    assert told.read_text() == "r128"


@pytest.mark.slow
def test_a_script_that_fails_is_told_once_in_lines_over_osc_and_on_the_lamp(tmp_path, loud_file, capfd):
    """It fails at each of several alerts; what it printed is in the log."""
    light = tmp_path / "script.toml"
    light.write_text(
        'title = "Ours"\naddress = "/script"\nkind = "switch"\nsafe = 0\n'
        '[[show]]\nwhen = "script"\nvalue = 1\n'
    )
    fails = ["sh", "-c", "exit 3"]
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as bulb,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener,
    ):
        for one in (bulb, listener):
            one.bind(("127.0.0.1", 0))
            one.setblocking(False)
        code = main(
            [
                *("live", "--file", loud_file, "--no-screen", "--json", "--osc-port", "0"),
                *("--light", f"{light}=127.0.0.1:{bulb.getsockname()[1]}"),
                *("--osc", f"127.0.0.1:{listener.getsockname()[1]}/run"),
                *("--on", "hot:any", shlex.join(fails)),
            ]
        )
        lit = everything(bulb)
        faults = [values[0] for address, values in everything(listener) if address == "/sidecar/script/fault"]
    lines = [json.loads(line) for line in capfd.readouterr().out.splitlines()]
    notices = [line["text"] for line in lines if line["type"] == "notice"]

    assert code == 0
    assert [text.split(":")[0] for text in notices] == ["The script for hot failed with exit code 3"]
    assert list(dict.fromkeys(faults)) == ["", notices[0]]
    assert ("/script", [1]) in lit


@pytest.mark.slow
def test_a_surface_is_shown_the_run_and_moves_no_fader(loud_file):
    """The touch panel receives loudness, move and alerts; unarmed, its fader is left alone; at the end no
    alert stays lit."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as panel:
        panel.bind(("127.0.0.1", 0))
        panel.setblocking(False)
        panel.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        place = f"127.0.0.1:{panel.getsockname()[1]}"
        code = main(
            [
                *("live", "--file", loud_file, "--no-screen", "--osc-port", "0"),
                *("--surface", "touch", "--surface-at", place),
            ]
        )
        heard = everything(panel)

    assert code == 0
    assert ("/programme/hot", [1]) in heard
    assert min(value[0] for address, value in heard if address == "/programme/move") < -3.0
    assert "/programme/fader" not in dict(heard)
    lamps = ("/programme/ceiling", "/programme/over", "/programme/hot")
    assert [(lamp, [0]) for lamp in lamps] == heard[-3:]


def everything(bulb):
    heard = []
    while True:
        try:
            heard += codec.parse(bulb.recv(65_535))
        except BlockingIOError:
            return heard


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("--light", "lamp"), "give NAME=HOST:PORT"),
        (("--light", "lamb=127.0.0.1:9000"), "There is no light 'lamb'. Did you mean lamp?"),
        (("--light", "lamp=nowhere.invalid:9000"), "no address is known for 'nowhere.invalid'"),
        (("--on", "loud", "true"), "there is no alert 'loud'"),
        (("--on", "over", "no-such-program-at-all"), "the program 'no-such-program-at-all' is not found"),
    ],
)
def test_what_could_never_work_is_refused_before_anything_is_heard(capsys, loud_file, arguments, reason):
    """Exit code 2 and one line; a warning that cannot come must not be learnt of when it is needed."""
    assert main(["live", "--file", loud_file, "--no-screen", "--osc-port", "0", *arguments]) == 2
    assert reason in capsys.readouterr().err
