"""Stamps a copy of a file again and again and is killed each time a few lines later. Run as a program.

usage: killed_stamps.py ORIGINAL FOLDER KILLS

Counts the lines that one stamp executes in the project's code, then forks KILLS children. Each stamps its
own copy and kills itself (SIGKILL) at its line, spread evenly from the first to the last. Prints how many
were killed.
"""

import os
import shutil
import signal
import sys
from pathlib import Path

from sidecar import delivery, wave
from sidecar.wave.bext import Claimed
from sidecar.wave.bext_write import prepare, stamp

CLAIMED = Claimed(-22.7, 6.12, -1.3, -14.05, -18.0)
PROJECT = tuple(str(Path(room.__file__).parent) for room in (delivery, wave))


def traced(work, at_line):
    """Calls *at_line* for each line of the project that *work* executes."""

    def trace(frame, event, _argument):
        if not frame.f_code.co_filename.startswith(PROJECT):
            return None
        if event == "line":
            at_line()
        return trace

    sys.settrace(trace)
    work()
    sys.settrace(None)


def count_lines(work):
    lines = 0

    def count():
        nonlocal lines
        lines += 1

    traced(work, count)
    return lines


def killed_at(work, line):
    """True when the child that does the work was killed, False when it came to its end."""
    child = os.fork()
    if child:
        _, status = os.waitpid(child, 0)
        return os.WIFSIGNALED(status)
    left = line

    def count_down():
        nonlocal left
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    traced(work, count_down)
    os._exit(0)


def main(original, folder, kills):
    def stamping(name):
        path = Path(shutil.copy(original, folder / name))
        seen = prepare(path)
        return lambda: stamp(path, CLAIMED, seen)

    # Its name is as long as the others: each letter of it takes a line.
    lines = count_lines(stamping("all.wav"))
    killed = sum(
        killed_at(stamping(f"{kill:03}.wav"), 1 + kill * (lines - 1) // (kills - 1)) for kill in range(kills)
    )
    print(killed, "killed")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]))
