"""``sidecar light-test``: the list, the walk over a real socket, and what is refused."""

import signal
import socket
import subprocess
import sys

import pytest

from sidecar.cli import main
from sidecar.cli.commands import light_test
from sidecar.osc import codec

EACH_S = "1"
PATIENCE_S = 60.0


@pytest.fixture
def bulb():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        made.bind(("127.0.0.1", 0))
        made.settimeout(0.1)
        yield made


def place(bulb):
    return f"127.0.0.1:{bulb.getsockname()[1]}"


def rest(bulb):
    """Every message that has arrived."""
    heard = []
    while True:
        try:
            heard += codec.parse(bulb.recv(65_535))
        except TimeoutError:
            return heard


def test_without_a_name_the_lights_are_listed(capsys):
    """Name, message, and how to try one."""
    assert main(["light-test"]) == 0
    said = " ".join(capsys.readouterr().out.split())

    for word in ("lamp", "colours", "dimmer", "/lamp/colour", "light-test NAME HOST:PORT"):
        assert word in said


@pytest.mark.slow
def test_the_walk_says_what_the_lamp_shows(capsys, bulb, monkeypatch):
    """The caution first; then each state from the least to the most important, and the safe state at last."""
    monkeypatch.setattr(light_test, "_READ_S", 0.0)
    assert main(["light-test", "dimmer", place(bulb), "--each", EACH_S]) == 0
    lines = capsys.readouterr().out.splitlines()
    levels = [round(level, 3) for _, [level] in rest(bulb)]

    assert lines[0].startswith("CAUTION: flashing light can cause seizures.")
    assert lines[2] == "1 of 4  safe: nothing known, nothing wrong  steady 0"
    assert lines[3].startswith("2 of 4  inside: integrated is within the goal's tolerance; under: ")
    assert lines[5].startswith("4 of 4  ceiling: true peaks pass the ceiling; hot: ")
    assert lines[5].endswith("steady 1")
    assert lines[6] == "Safe state 0 sent; the end."
    assert [level for at, level in enumerate(levels) if at == 0 or level != levels[at - 1]] == [
        0.0,
        0.15,
        0.6,
        1.0,
        0.0,
    ]
    assert levels[-3:] == [0.0, 0.0, 0.0]


@pytest.mark.slow
def test_an_interrupt_ends_in_the_safe_state(bulb):
    """Ctrl-C while the lamp is lit: exit code 0, and the lamp is dark when the command has ended."""
    walk = subprocess.Popen(
        [sys.executable, "-m", "sidecar", "light-test", "lamp", place(bulb), "--each", EACH_S],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    bulb.settimeout(PATIENCE_S)
    while codec.parse(bulb.recv(65_535)) != [("/lamp", [1])]:
        pass
    walk.send_signal(signal.SIGINT)
    output, errors = walk.communicate(timeout=PATIENCE_S)
    bulb.settimeout(0.1)

    assert (walk.returncode, errors) == (0, "")
    assert output.endswith("Safe state 0 sent; the end.\n")
    assert rest(bulb)[-3:] == [("/lamp", [0])] * 3


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (["lamb", "127.0.0.1:9000"], "Did you mean lamp?"),
        (["lamp"], "Say where the lamp receives OSC: sidecar light-test lamp HOST:PORT"),
        (["lamp", "nowhere"], "'nowhere' is no OSC target"),
        (["lamp", "127.0.0.1:9000", "--each", "0.1"], "--each: give 1 to 60 seconds, not 0.1"),
        (["lamp", "127.0.0.1:9000", "--each", "nan"], "--each: give 1 to 60 seconds, not nan"),
    ],
)
def test_what_cannot_be_tested_is_refused_in_words(capsys, arguments, reason):
    """Exit code 2 and one line that says what to do; nothing is sent."""
    assert main(["light-test", *arguments]) == 2
    assert reason in capsys.readouterr().err
