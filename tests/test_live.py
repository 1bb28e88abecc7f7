"""The main job on real audio: a sound server, a file played into it, UDP on the other side."""

import json
import socket
import subprocess
import sys
import time

import numpy as np
import pytest
import soundfile

from sidecar.osc import codec

RATE_HZ = 48_000
PLAYED_S = 26.0
LISTENED_S = 20.0
START_LIMIT_S = 120.0  # the first run on a machine compiles the meter


@pytest.fixture
def loud_file(tmp_path):
    """Noise that swells and ebbs well above R 128's target, the same on both channels' average."""
    rng = np.random.default_rng(20_260)
    frames = int(PLAYED_S * RATE_HZ)
    swell = 0.10 + 0.05 * np.sin(2 * np.pi * 0.4 * np.arange(frames) / RATE_HZ)
    file = tmp_path / "loud.wav"
    soundfile.write(file, rng.standard_normal((frames, 2)) * swell[:, None], RATE_HZ, subtype="FLOAT")
    return file


@pytest.fixture
def receiver():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        made.bind(("127.0.0.1", 0))
        made.setblocking(False)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        yield made


def sidecar(*arguments):
    return [sys.executable, "-m", "sidecar", *arguments]


def start(receiver, *arguments):
    """A run without a screen, in a process of its own, that sends to *receiver*."""
    target = f"127.0.0.1:{receiver.getsockname()[1]}"
    return subprocess.Popen(
        sidecar(*arguments, "--no-screen", "--json", "--osc", target, "--osc-port", "0"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def drain(receiver):
    """Every datagram that has arrived, parsed."""
    heard = []
    while True:
        try:
            heard.append(dict(codec.parse(receiver.recv(65_535))))
        except BlockingIOError:
            return heard


@pytest.mark.slow
def test_live_reads_what_check_reads_and_sends_it_out(loopback, loud_file, receiver):
    """Within 0.1 LU of the file's own measure; bundles all along; over and hot reach the light."""
    loopback.down()
    loopback.up(channels=2)
    live = start(receiver, "live", "--device", "loopback", "--for", str(LISTENED_S))
    assert live.stdout is not None
    first = live.stdout.readline()  # the capture runs: what is played from here on is heard
    player = loopback.play(loud_file)
    output, errors = live.communicate(timeout=START_LIMIT_S)
    player.terminate()
    player.wait(timeout=10)

    assert (live.returncode, errors) == (0, "")
    lines = [json.loads(line) for line in [first, *output.splitlines()]]
    readings = [line for line in lines if line["type"] == "reading"]
    checked = json.loads(
        subprocess.run(
            sidecar("check", "--json", str(loud_file)), check=False, capture_output=True, text=True
        ).stdout
    )
    assert readings[-1]["integrated_lufs"] == pytest.approx(checked[0]["integrated_lufs"], abs=0.1)
    assert readings[-1]["dropped_samples"] == 0
    assert {"over", "hot"} <= {line["name"] for line in lines if line["type"] == "alert"}
    assert any(line["type"] == "move" and line["gain_db"] < -3 for line in lines)

    heard = drain(receiver)
    bundles = [messages for messages in heard if "/sidecar/momentary" in messages]
    assert 1 < len(bundles) / LISTENED_S < 11  # ten, where the machine has the time
    assert (
        max(messages["/sidecar/alert/over"][0] for messages in heard if "/sidecar/alert/over" in messages)
        == 1
    )
    assert (
        max(messages["/sidecar/alert/hot"][0] for messages in heard if "/sidecar/alert/hot" in messages) == 1
    )
    moves = [messages["/sidecar/move/gain"][0] for messages in heard if "/sidecar/move/gain" in messages]
    assert min(moves) < -3


@pytest.mark.slow
def test_a_device_that_stays_away_ends_the_run_with_3(loopback, receiver):
    """The alert goes out while there is hope; after the patience the exit code says what happened."""
    loopback.down()
    loopback.up(channels=2)
    live = start(receiver, "live", "--device", "loopback", "--patience", "4")
    assert live.stdout is not None
    end = time.monotonic() + START_LIMIT_S
    while json.loads(live.stdout.readline()).get("transport") not in {"ready", "measuring"}:
        assert time.monotonic() < end
    loopback.down()
    output, errors = live.communicate(timeout=START_LIMIT_S)

    assert live.returncode == 3
    assert "has not come back within 4 s" in errors
    assert "Traceback" not in errors
    lost = [line for line in map(json.loads, output.splitlines()) if line.get("name") == "lost"]
    assert lost[0]["state"] == "on"
    assert any(messages.get("/sidecar/alert/lost", [0])[0] == 1 for messages in drain(receiver))


@pytest.mark.slow
def test_an_interrupt_ends_the_run_in_good_order(receiver):
    """Ctrl-C is the way to stop a run without a screen: exit code 0 and a last word over OSC."""
    rehearsal = start(receiver, "rehearse")
    assert rehearsal.stdout is not None
    rehearsal.stdout.readline()
    rehearsal.send_signal(2)
    output, errors = rehearsal.communicate(timeout=START_LIMIT_S)

    assert (rehearsal.returncode, errors) == (0, "")
    assert json.loads(output.splitlines()[-1]).get("transport", "ended") == "ended"
    states = [
        messages["/sidecar/transport"][0] for messages in drain(receiver) if "/sidecar/transport" in messages
    ]
    assert states[-1] == "ended"


def last(lines, kind):
    return [line for line in lines if line["type"] == kind][-1]


@pytest.mark.slow
def test_stems_over_a_real_device_are_advised_as_from_the_file(loopback, tmp_path, receiver):
    """Four channels are two stems: the band is too loud, and it is the band that is to go down."""
    rng = np.random.default_rng(4)
    frames = int(PLAYED_S * RATE_HZ)
    levels = np.array([0.02, 0.02, 0.08, 0.08])
    file = tmp_path / "stems.wav"
    soundfile.write(file, rng.standard_normal((frames, 4)) * levels, RATE_HZ, subtype="FLOAT")
    stems = ("--stems", "voice,band", "--anchor", "voice")
    loopback.down()
    loopback.up(channels=4)
    live = start(receiver, "live", "--device", "loopback", *stems, "--for", "14")
    assert live.stdout is not None
    first = live.stdout.readline()
    player = loopback.play(file)
    output, errors = live.communicate(timeout=START_LIMIT_S)
    player.terminate()
    player.wait(timeout=10)
    assert (live.returncode, errors) == (0, "")
    from_device = [json.loads(line) for line in [first, *output.splitlines()]]
    read = subprocess.run(
        sidecar(
            *("live", "--file", str(file), "--pace", "fast", *stems),
            *("--no-screen", "--json", "--osc-port", "0"),
        ),
        check=True,
        capture_output=True,
        text=True,
    )
    from_file = [json.loads(line) for line in read.stdout.splitlines()]

    assert "band" == last(from_device, "move")["fader"] == last(from_file, "move")["fader"]
    assert last(from_device, "move")["gain_db"] < -1.0
    assert last(from_device, "move")["gain_db"] == pytest.approx(last(from_file, "move")["gain_db"], abs=0.3)
    assert last(from_device, "reading")["integrated_lufs"] == pytest.approx(
        last(from_file, "reading")["integrated_lufs"], abs=0.1
    )
    told = [messages for messages in drain(receiver) if "/sidecar/stems/moves" in messages][-1]
    assert told["/sidecar/stems/names"] == ["voice", "band"]
    assert 0.0 == told["/sidecar/stems/moves"][0] > told["/sidecar/stems/moves"][1]
