"""``sidecar screen`` in a real terminal (tmux), beside a run in a process of its own."""

import os
import socket
import subprocess
import sys
import time
import uuid
from pathlib import Path

import numpy as np
import pytest
from needs import need

from sidecar.cli import main
from sidecar.osc import codec
from sidecar.remote.feed import RemoteFeed

PATIENCE_S = 60.0
ROOT = Path(__file__).parents[2]


def wait_for(condition):
    end = time.monotonic() + PATIENCE_S
    while not (found := condition()):
        assert time.monotonic() < end, "it never came"
        time.sleep(0.05)
    return found


def heartbeat(port):
    """Whether a run answers there."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        asker.settimeout(1.0)
        asker.connect(("127.0.0.1", port))
        try:
            asker.send(codec.message("/sidecar/heartbeat", "", ()).dgram)
            return codec.parse(asker.recv(65_535))
        except OSError:
            return []


@pytest.fixture
def run():
    """A rehearsal without a screen; its command port."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "sidecar", "rehearse", "--no-screen", "--no-record"),
            *("--osc", "127.0.0.1:9", "--osc-port", str(port)),
        ],
        stdout=subprocess.DEVNULL,
    )
    wait_for(lambda: heartbeat(port))
    yield port
    process.terminate()
    process.wait(PATIENCE_S)


@pytest.fixture
def tmux():
    """Runs tmux commands on a server of its own."""
    need("tmux")
    name = f"screen-{uuid.uuid4().hex[:8]}"

    def call(*arguments):
        return subprocess.run(
            ["tmux", "-u", "-L", name, *arguments], capture_output=True, text=True, check=False
        )

    yield call
    call("kill-server")


@pytest.mark.slow
def test_a_screen_beside_a_run_shows_it_and_ends_nothing(run, tmux):
    """Space pauses the run from there; ``q`` closes the screen, and the run still answers."""
    settings = ["-u", "COLUMNS", "-u", "LINES", f"PYTHONPATH={ROOT}", "LANG=C.UTF-8"]
    command = [sys.executable, "-m", "sidecar", "screen", "--attach", f"127.0.0.1:{run}"]
    tmux("-f", os.devnull, "new-session", "-d", "-x", "100", "-y", "30", "env", *settings, *command)
    wait_for(lambda: "measuring" in tmux("capture-pane", "-p").stdout)
    wait_for(lambda: "Pause" in tmux("capture-pane", "-p").stdout)
    tmux("send-keys", "Space")
    wait_for(lambda: "paused" in tmux("capture-pane", "-p").stdout)
    tmux("send-keys", "q")
    wait_for(lambda: tmux("list-sessions").returncode != 0)

    assert heartbeat(run)


def test_a_place_that_is_none_is_said_in_one_line(capsys):
    """In the terminal and for browsers alike: exit code 2, and what to give."""
    for more in ((), ("--browser", "--port", "0")):
        assert main(["screen", "--attach", "nowhere", *more]) == 2
        assert "HOST:PORT" in capsys.readouterr().err


def test_what_is_missing_for_browsers_is_said_with_what_installs_it(capsys, monkeypatch):
    """The package is an extra: without it the terminal still has its screen."""
    for name in [name for name in sys.modules if name.startswith("sidecar.web")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "textual_serve", None)

    assert main(["screen", "--browser", "--port", "0"]) == 2
    assert "pip install textual-serve" in capsys.readouterr().err


@pytest.mark.slow
def test_who_attaches_late_sees_the_programme_from_its_beginning(run):
    """The history of a real run, filled in over OSC, has its first tenth of a second and goes on."""
    with RemoteFeed(f"127.0.0.1:{run}") as feed:
        wait_for(lambda: feed.snapshot().transport == "measuring")
        history = wait_for(lambda: (c := feed.timeline()).seconds.size > 20 and c)

    assert history.seconds[0] == pytest.approx(0.1)
    assert np.isfinite(history.short_term[10:]).all()
