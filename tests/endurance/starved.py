"""A numbered signal played into the loopback, and what a tape of it says is missing."""

import contextlib
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numbered import numbers


@contextlib.contextmanager
def playing_numbers(seconds, rate_hz=48_000):
    """Plays numbered frames for so long, or until the block ends. The environment names the sound server."""
    program = Path(__file__).with_name("numbered.py")
    making = subprocess.Popen([sys.executable, program, str(seconds), str(rate_hz)], stdout=subprocess.PIPE)
    form = ("--format=float32le", f"--rate={rate_hz}", "--channels=2", "--no-remap", "--no-remix")
    ahead = "--latency-msec=4000"  # a busy machine must not make the player itself fall silent
    player = subprocess.Popen(
        [shutil.which("paplay"), "--raw", ahead, f"--device={os.environ['PULSE_SINK']}", *form],
        stdin=making.stdout,
    )
    making.stdout.close()
    try:
        yield player
    finally:
        for process in (making, player):
            process.kill()
            process.wait()


@dataclass(frozen=True)
class Heard:
    """What is on a tape, between the first number and the last."""

    frames: int
    """With a number of their own."""
    missing: int
    """Numbers that are left out: what is truly missing, whatever anybody says of it."""
    misplaced: int
    """Places where numbers are missing and the tape is not silent for just as long."""
    disorder: int
    """Places where a number does not come after the one before."""


def heard_on(tape):
    """Reads a tape. Silence where no number is missing is the player's, and passed over."""
    frames, missing, misplaced, disorder = 0, 0, 0, 0
    read, last_at, last = 0, [], []
    for piece in soundfile.blocks(tape, blocksize=1 << 20, dtype="float32", always_2d=True):
        found = numbers(piece)
        there = np.flatnonzero(found >= 0)
        at = np.concatenate([last_at, read + there]).astype(np.int64)
        number = np.concatenate([last, found[there]]).astype(np.int64)
        steps, gaps = np.diff(number), np.diff(at)
        missing += int(np.sum(steps[steps > 0] - 1))
        misplaced += int(np.sum((steps > 1) & (gaps != steps)))
        disorder += int(np.sum(steps <= 0))
        frames, read = frames + there.size, read + len(found)
        last_at, last = at[-1:], number[-1:]
    return Heard(frames, missing, misplaced, disorder)
