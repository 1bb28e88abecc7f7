"""A run on a terminal that is not read: a pseudo-terminal, and a real receiver of its OSC."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import socket
import struct
import subprocess
import sys
import termios
from dataclasses import dataclass
from pathlib import Path

from pythonosc.osc_packet import OscPacket

ROOT = Path(__file__).parents[2]
_SOON_S = 60.0


@dataclass(frozen=True)
class Heard:
    """One bundle of readings."""

    seconds: float
    """Programme measured."""
    lost: int


class StalledScreen:
    """``sidecar rehearse`` at its real pace, on the screen, with its OSC sent here. A context manager."""

    def __init__(self, width: int = 120, height: int = 40) -> None:
        self._receiver = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._receiver.bind(("127.0.0.1", 0))
        self._receiver.settimeout(_SOON_S)
        self._lost = 0
        self._terminal, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))
        port = self._receiver.getsockname()[1]
        self._run = subprocess.Popen(
            [
                *(sys.executable, "-m", "sidecar", "rehearse", "--no-record", "--osc-port", "0"),
                *("--osc", f"127.0.0.1:{port}"),
            ],
            cwd=ROOT,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env={**os.environ, "TERM": "xterm-256color", "LANG": "C.UTF-8"},
            start_new_session=True,
        )
        os.close(slave)

    def __enter__(self) -> StalledScreen:
        return self

    def __exit__(self, *_: object) -> None:
        self._run.kill()
        self._run.wait()
        self._receiver.close()
        os.close(self._terminal)

    @property
    def pid(self) -> int:
        """The process of the run."""
        return self._run.pid

    def read_until(self, text: bytes) -> None:
        """Discards what is drawn, until *text* is among it."""
        drawn = b""
        while text not in drawn:
            ready, _, _ = select.select([self._terminal], [], [], _SOON_S)
            if not ready:
                raise AssertionError(f"never drawn: {text!r}")
            drawn = drawn[-4096:] + os.read(self._terminal, 65_536)

    def waiting_bytes(self) -> int:
        """What was drawn and is not read."""
        return struct.unpack("i", fcntl.ioctl(self._terminal, termios.FIONREAD, b"\0\0\0\0"))[0]

    def stall(self) -> Heard:
        """Reads nothing more until the terminal is full, so that drawing on it waits."""
        full, same = 0, 0
        for _ in range(300):
            heard = self.reading()
            same = same + 1 if full == self.waiting_bytes() else 0
            full = self.waiting_bytes()
            if full and same >= 10:
                return heard
        raise AssertionError(f"the terminal never filled: {full} bytes wait")

    def reading(self) -> Heard:
        """The next reading that arrives."""
        while True:
            seconds = None
            for timed in OscPacket(self._receiver.recv(65_536)).messages:
                if timed.message.address == "/sidecar/dropped":
                    self._lost = timed.message.params[0]
                if timed.message.address == "/sidecar/seconds":
                    seconds = timed.message.params[0]
            if seconds is not None:
                return Heard(seconds, self._lost)
