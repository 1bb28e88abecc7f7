"""A terminal at the end of a slow line: it reads so many bytes a second, and answers where its cursor is."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pyte

ROOM = Path(__file__).parent
_STAMP = re.compile(r"(\d\d)@(\d{8}\.\d\d)")
_QUESTION, _SLICE_S = b"\x1b[6n", 0.02
PROGRAM = """
import time, scripted_feed, tui.app
app = tui.app.make_app(scripted_feed.SCENES[{scene!r}]())
app.controller.time_of_day = lambda: f"{{app.pace.rate_hz:02d}}@{{time.monotonic():011.2f}}"
app.run()
"""
"""In place of the time of day the heading shows the rate and when it was drawn, by the machine's clock."""


class SlowTerminal:
    """A scene on a screen whose output arrives at *bytes_per_s*. A context manager."""

    def __init__(self, bytes_per_s: float, size: tuple[int, int] = (120, 40), scene: str = "playing") -> None:
        self.bytes_per_s = bytes_per_s
        self.screen = pyte.Screen(*size)
        self.read_bytes = 0
        self.answers_s: list[float] = []
        """When each question was answered, by the clock of the machine."""
        self._stream = pyte.ByteStream(self.screen)
        self._tail = b""
        self._credit = 0.0
        self._then_s = time.monotonic()
        self._terminal, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        paths = os.pathsep.join([str(ROOM), str(ROOM.parent.parent)])
        settings = {"TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONPATH": paths}
        self._run = subprocess.Popen(
            [sys.executable, "-c", PROGRAM.format(scene=scene)],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env={name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
            | settings,
            start_new_session=True,
        )
        os.close(slave)

    def __enter__(self) -> SlowTerminal:
        return self

    def __exit__(self, *_: object) -> None:
        self._run.kill()
        self._run.wait()
        os.close(self._terminal)

    def press(self, key: str) -> None:
        """Types *key*."""
        os.write(self._terminal, key.encode())

    def read(self) -> None:
        """Reads for a moment, as much as the line carries in it."""
        time.sleep(_SLICE_S)
        now_s = time.monotonic()
        self._credit = min(self._credit + (now_s - self._then_s) * self.bytes_per_s, self.bytes_per_s * 0.1)
        self._then_s = now_s
        while self._credit >= 1.0 and select.select([self._terminal], [], [], 0.0)[0]:
            try:
                data = os.read(self._terminal, int(self._credit))
            except OSError:  # the program has ended
                return
            self._credit -= len(data)
            self.read_bytes += len(data)
            self._stream.feed(data)
            self._answer(data)

    def _answer(self, data: bytes) -> None:
        self._tail += data
        questions = self._tail.count(_QUESTION)
        self._tail = self._tail[self._tail.rfind(_QUESTION) + len(_QUESTION) :] if questions else self._tail
        self._tail = self._tail[1 - len(_QUESTION) :]
        for _ in range(questions):
            self.answers_s.append(time.monotonic())
            os.write(self._terminal, b"\x1b[1;1R")

    def read_until(self, condition, what: str, for_s: float = 60.0) -> float:
        """Reads until *condition* holds of what is shown; returns how long that took."""
        start_s = time.monotonic()
        while not condition(self):
            assert time.monotonic() < start_s + for_s, f"never came: {what}\n{self.text()}"
            self.read()
        return time.monotonic() - start_s

    def has_ended(self) -> bool:
        """Whether the program has."""
        return self._run.poll() is not None

    def text(self) -> str:
        """What is shown."""
        return "\n".join(self.screen.display)

    def rate_hz(self) -> int:
        """The rate that the heading shows; 0 before it shows any."""
        found = _STAMP.search(self.text())
        return int(found[1]) if found else 0

    def drawn_s(self) -> float:
        """When the heading that is shown was drawn, by the clock of the machine; 0 before there is one."""
        found = _STAMP.search(self.text())
        return float(found[2]) if found else 0.0
