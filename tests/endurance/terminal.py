"""A program on a terminal of its own that can be closed under it.

As a program: makes the terminal on its standard input that of its session, and becomes the command given.
"""

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import threading
import time

LIMIT_S = 120.0  # the first run on a machine compiles the meter
_LOOK_S = 0.05


class OwnTerminal:
    """A pseudo-terminal of 100×30. Use it as a context manager."""

    def __init__(self):
        self._master, self._slave = pty.openpty()
        fcntl.ioctl(self._slave, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
        self.modes = self._modes()
        self.is_open = True
        self._takes, self._is_held = threading.Event(), threading.Event()
        self._takes.set()
        self.shown = b""
        """All that was written to it."""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def __enter__(self):
        return self

    def __exit__(self, *_error):
        self.hang_up()

    def start(self, command, environment, *, controls=True):
        """Runs *command* on it. controls: as the leader of this terminal's session, which is sent SIGHUP
        when it closes."""
        return subprocess.Popen(
            [sys.executable, __file__, *command] if controls else command,
            stdin=self._slave,
            stdout=self._slave,
            stderr=self._slave,
            env={**environment, "TERM": "xterm-256color"},
            start_new_session=True,
        )

    @property
    def is_as_before(self):
        """Whether the modes are those from before anything ran on it, and the usual screen is back."""
        there, back = (self.shown.rfind(b"\x1b[?1049" + last) for last in (b"h", b"l"))
        return self._modes() == self.modes and there <= back

    def hang_up(self):
        """Closes the window: what runs on it gets errors from all that it reads and writes."""
        if not self.is_open:  # both numbers may belong to other files by now
            return
        self.is_open = False
        self._takes.set()
        self._reader.join()  # nothing is closed while another thread reads it
        os.close(self._slave)
        os.close(self._master)

    def stop_reading(self):
        """Takes nothing more, as a terminal that is held with Ctrl-S, and is full, so writers wait."""
        self._takes.clear()
        os.write(self._slave, b"\0")  # for a reader that waits for something to read
        assert self._is_held.wait(LIMIT_S)
        self._fill()

    def wait_for(self, text):
        """Until it was written to."""
        end_s = time.monotonic() + LIMIT_S
        while text not in self.shown:
            assert time.monotonic() < end_s, f"{text} was never shown, but {self.shown[-2000:]}"
            time.sleep(_LOOK_S)

    def _fill(self):
        """Until nothing fits in any more: the system moves what was written on, a piece at a time."""
        own = os.open(os.ttyname(self._slave), os.O_WRONLY | os.O_NONBLOCK | os.O_NOCTTY)
        refused = 0
        while refused < 5:
            try:
                os.write(own, bytes(4096))
                refused = 0
            except BlockingIOError:
                refused += 1
                time.sleep(0.02)
        os.close(own)

    def _modes(self):
        return termios.tcgetattr(self._slave)

    def _read(self):
        while self.is_open:
            if not select.select([self._master], [], [], _LOOK_S)[0]:
                continue
            self.shown += os.read(self._master, 65_536)
            if not self._takes.is_set():
                self._is_held.set()
                self._takes.wait()


if __name__ == "__main__":
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    os.execv(sys.argv[1], sys.argv[1:])
