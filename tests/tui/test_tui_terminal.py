"""The screen in a real terminal (tmux), at both sizes and at several depths."""

import os
import subprocess
import sys
import time
import uuid
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parent.parent


class Terminal:
    """A tmux of its own with the screen in it; all waits are bounded."""

    def __init__(self, scene, width, height, **environment):
        self._socket = f"sidecar-{uuid.uuid4().hex[:8]}"
        settings = {"PYTHONPATH": str(ROOT), "LANG": "C.UTF-8", **environment}
        program = [sys.executable, str(HERE / "scripted_feed.py"), scene]
        # readline, which pytest loads, sets both behind os.environ; the terminal's own size shall count
        unset = ["-u", "COLUMNS", "-u", "LINES"]
        command = ["env", *unset, *(f"{key}={value}" for key, value in settings.items()), *program]
        self._tmux("-f", os.devnull, "new-session", "-d", "-x", str(width), "-y", str(height), *command)

    def _tmux(self, *arguments):
        return subprocess.run(
            ["tmux", "-u", "-L", self._socket, *arguments], capture_output=True, text=True, check=False
        )

    def text(self, *, raw=False):
        return self._tmux("capture-pane", "-p", *(["-e"] if raw else [])).stdout

    def press(self, *keys):
        self._tmux("send-keys", *keys)

    def wait_for(self, condition, what):
        for _ in range(400):
            if condition(self.text()):
                return
            time.sleep(0.025)
        raise AssertionError(f"never came: {what}\n{self.text()}")

    def has_ended(self):
        return self._tmux("list-sessions").returncode != 0

    def close(self):
        self._tmux("kill-server")


@pytest.fixture
def terminal():
    opened = []

    def start(*arguments, **environment):
        opened.append(Terminal(*arguments, **environment))
        return opened[-1]

    yield start
    for one in opened:
        one.close()


def _is_drawn(text):
    lines = text.splitlines()
    return len(lines) > 1 and "measuring" in lines[0] and "Quit" in lines[-1]


@pytest.mark.slow
@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40)])
def test_the_screen_fills_a_terminal_and_ends_after_a_question(terminal, width, height):
    """From the first line to the footer, and back to the shell."""
    screen = terminal("alerted", width, height)
    screen.wait_for(_is_drawn, "the instrument")
    lines = screen.text().splitlines()

    assert height == len(lines)
    assert "? more" in lines[-1]
    assert max(map(len, lines)) <= width

    screen.press("q")
    screen.wait_for(lambda text: "End the measurement" in text, "the question")
    screen.press("y")
    screen.wait_for(lambda _: screen.has_ended(), "the end")


@pytest.mark.slow
def test_without_utf8_everything_is_ascii(terminal):
    """An output that cannot show shapes gets plain characters, not escape text."""
    screen = terminal("alerted", 80, 24, PYTHONIOENCODING="ascii")
    screen.wait_for(_is_drawn, "the instrument")

    assert screen.text().isascii()
    screen.wait_for(lambda text: "^  0.6 dB above" in text, "the true peak")
    assert "\\u" not in screen.text()
    assert "\\x" not in screen.text()

    screen.press("g")
    screen.wait_for(lambda text: "tolerance" in text, "the goals")
    assert screen.text().isascii()


@pytest.mark.slow
def test_in_16_colours_the_stands_keep_their_families(terminal):
    """Codes of ECMA-48 and common practice: 93 bright yellow is over, 95 and 105 bright magenta ceiling."""
    screen = terminal("alerted", 80, 24, TEXTUAL_COLOR_SYSTEM="standard")
    screen.wait_for(_is_drawn, "the instrument")
    raw = screen.text(raw=True)

    assert "\x1b[38;2;" not in raw
    assert "\x1b[38;5;" not in raw
    assert "93m" in raw
    assert "105m" in raw


@pytest.mark.slow
def test_no_color_leaves_greys_and_weight(terminal):
    """With NO_COLOR no code has three different channels, and the alarm is bold."""
    screen = terminal("alerted", 80, 24, NO_COLOR="1", COLORTERM="truecolor")
    screen.wait_for(_is_drawn, "the instrument")
    raw = screen.text(raw=True)
    greys = [part.split("m")[0].split(";")[:3] for part in raw.split("8;2;")[1:]]

    assert greys == [grey for grey in greys if len(set(grey)) == 1]
    assert "△ CEILING" in raw
