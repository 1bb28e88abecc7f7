"""The screen on a real terminal: tmux types the keys and reads what is there."""

import subprocess
import sys
import time

import pytest
from needs import need

PATIENCE_S = 120.0  # the first run on a machine compiles the meter


class Terminal:
    """A shell in a tmux server of its own."""

    def __init__(self, folder, columns, lines):
        self._socket = str(folder / "tmux")
        size = ("-x", str(columns), "-y", str(lines))
        self._run("-f", "/dev/null", "new-session", "-d", *size, "env -u COLUMNS -u LINES sh")
        self._run("set-option", "-g", "remain-on-exit", "on")

    def type(self, *keys):
        self._run("send-keys", *keys)

    def text(self):
        return self._run("capture-pane", "-p").stdout

    def wait_for(self, *words):
        """Waits until all words are on the screen; gives the text."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            text = self.text()
            if all(word in text for word in words):
                return text
            time.sleep(0.1)
        raise AssertionError(f"{words} never stood there, but:\n{self.text()}")

    def close(self):
        self._run("kill-server")

    def _run(self, *words):
        return subprocess.run(
            ["tmux", "-S", self._socket, *words], capture_output=True, text=True, check=True, timeout=30
        )


@pytest.fixture(params=[(80, 24), (120, 40)], ids=["80x24", "120x40"])
def terminal(request, tmp_path):
    need("tmux")
    made = Terminal(tmp_path, *request.param)
    yield made
    made.close()


@pytest.mark.slow
def test_a_rehearsal_is_run_paused_reset_and_left_on_a_real_terminal(terminal):
    """The move appears; keys do what the footer says; the terminal is as it was afterwards."""
    terminal.type(f"{sys.executable} -m sidecar rehearse --osc-port 0; echo left with $?", "Enter")
    terminal.wait_for("measuring", "now: down", "dB")
    terminal.type("Space")
    terminal.wait_for("‖ paused")  # the history says "paused" a moment earlier
    terminal.type("Space")
    terminal.wait_for("● measuring")
    terminal.type("r")
    terminal.wait_for("y")
    terminal.type("y")
    terminal.wait_for("0:00")
    terminal.type("q")
    text = terminal.wait_for("left with 0")

    assert "Traceback" not in text
    assert "measuring" not in text, "the screen was not given back"
    terminal.type("stty -a", "Enter")
    terminal.wait_for(" icanon", " echo ")
