"""Processes to be killed: each measures the known signal, at some twenty times its speed, into a journal
of its own, and notes beside it what it had handed over before each write that was finished.

Arguments: a folder, then the seconds after which each one is killed. Prints a line when all are dead.
"""

import os
import signal
import struct
import sys
import time
from pathlib import Path

from known_signal import ABOUT, Measuring

from sidecar.journal.writer import Journal

_STEP_S = 0.005
NOTE = struct.Struct("<dq")
"""Time and number of blocks handed over."""


class WatchedJournal(Journal):
    """Notes what was handed over before each write that is finished."""

    def watch(self, measuring, note):
        self._watched, self._note = measuring, note

    def _flush(self):
        handed = len(self._watched.readings)
        super()._flush()
        os.write(self._note, NOTE.pack(time.monotonic(), handed))


def measure_until_killed(folder, name):
    flags = os.O_CREAT | os.O_WRONLY | os.O_APPEND
    written, handed = (os.open(folder / f"{name}.{what}", flags) for what in ("written", "handed"))
    measuring = Measuring()
    journal = WatchedJournal(folder / f"{name}.sqlite")
    journal.watch(measuring, written)
    entry = journal.begin(ABOUT)
    while True:
        measuring.go_on(1, entry)
        os.write(handed, NOTE.pack(time.monotonic(), len(measuring.readings)))
        time.sleep(_STEP_S)


def main():
    folder, moments = Path(sys.argv[1]), [float(text) for text in sys.argv[2:]]
    Measuring().go_on(1)  # compiled before it is shared
    began_s = time.monotonic()
    running = {}
    for name, moment_s in enumerate(moments):
        pid = os.fork()
        if pid == 0:
            measure_until_killed(folder, name)
        running[name] = pid, moment_s
    for name, (pid, moment_s) in sorted(running.items(), key=lambda item: item[1][1]):
        time.sleep(max(0.0, began_s + moment_s - time.monotonic()))
        os.kill(pid, signal.SIGKILL)
        killed_s = time.monotonic()
        os.waitpid(pid, 0)
        print(name, killed_s, flush=True)


if __name__ == "__main__":
    main()
