"""A program on a terminal of its own that can be closed under it.

As a program: makes the terminal on its standard input that of its session, and becomes the command given.
"""

import contextlib
import fcntl
import os
import pty
import struct
import subprocess
import sys
import termios
import threading


class OwnTerminal:
    """A pseudo-terminal of 100×30. Use it as a context manager."""

    def __init__(self):
        self._master, self._slave = pty.openpty()
        fcntl.ioctl(self._slave, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
        self.modes = self._modes()
        self.is_open = True
        self._takes = threading.Event()
        self._takes.set()
        self.shown = b""
        """All that was written to it."""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def __enter__(self):
        return self

    def __exit__(self, *_error):
        self.hang_up()

    def start(self, command, environment):
        """Runs *command* as the leader of this terminal's session."""
        return subprocess.Popen(
            [sys.executable, __file__, *command],
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
        """Closes the window: what runs on it gets SIGHUP, and errors from all that it reads and writes."""
        self.is_open = False
        self._takes.set()
        for descriptor in (self._slave, self._master):
            with contextlib.suppress(OSError):
                os.close(descriptor)

    def stop_reading(self):
        """Takes nothing more, as a terminal that is held with Ctrl-S; it fills up."""
        self._takes.clear()

    def _modes(self):
        return termios.tcgetattr(self._slave)

    def _read(self):
        with contextlib.suppress(OSError):
            while data := os.read(self._master, 65_536):
                self.shown += data
                self._takes.wait()


if __name__ == "__main__":
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    os.execv(sys.argv[1], sys.argv[1:])
