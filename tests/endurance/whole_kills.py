"""Whole runs killed at any moment and gone on with, against one that was not killed."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48_000
LIMIT_S = 120.0
_NAMES = (
    *("integrated_lufs", "loudness_range_lu", "max_momentary_lufs", "max_short_term_lufs"),
    *("max_true_peak_dbtp", "sample_peak_dbfs"),
)


@dataclass(frozen=True)
class Kill:
    """What one kill left."""

    integrity: str
    heard_s: float
    """Programme measured when the kill came, as last told."""
    kept_s: float
    """Programme that the next run went on from; 0 where it found no pass."""
    resumed: dict
    """What it then read."""
    whole: dict
    """What the run that was not killed had read at that place."""

    @property
    def is_same(self):
        """Equal to the two decimals that a run prints."""
        return all(_close(self.resumed[name], self.whole[name]) for name in _NAMES)


class Yard:
    """A programme, and what an unbroken run reads of it at each 100 ms."""

    def __init__(self, folder, seconds=60):
        self._folder = folder
        rng = np.random.default_rng(7)
        gain = 10 ** (np.repeat(rng.uniform(-50.0, -10.0, seconds * 2), RATE_HZ // 2) / 20.0)
        self._file, self._silence = folder / "programme.wav", folder / "silence.wav"
        soundfile.write(
            self._file, rng.standard_normal((gain.size, 2)) * gain[:, None], RATE_HZ, subtype="FLOAT"
        )
        soundfile.write(self._silence, np.zeros((RATE_HZ // 2, 2)), RATE_HZ, subtype="FLOAT")
        said = self._run(folder / "whole", self._file, "--pace", "fast")
        self._whole = {round(line["seconds"], 1): line for line in said}

    def kill_all(self, moments_s, at_once):
        """Starts a run for each moment, kills it so long after it began to measure, and goes on with it."""
        with ThreadPoolExecutor(at_once) as pool:
            return list(pool.map(self._kill, range(len(moments_s)), moments_s))

    def _kill(self, number, after_s):
        folder = self._folder / str(number)
        run = subprocess.Popen(
            _command(self._file, "--pace", "real"), env=_own(folder), stdout=subprocess.PIPE, text=True
        )
        heard_s, began_s = 0.0, None
        for text in run.stdout:
            line = json.loads(text)
            heard_s = line["seconds"] if line["type"] == "reading" else heard_s
            began_s = began_s or time.monotonic()
            if time.monotonic() - began_s >= after_s:
                break
        run.send_signal(signal.SIGKILL)
        rest, _ = run.communicate(timeout=LIMIT_S)
        lines = [json.loads(text) for text in rest.splitlines() if text.endswith("}")]
        heard_s = max([heard_s, *(line["seconds"] for line in lines if line["type"] == "reading")])
        integrity, kept = _look_into(folder)
        if not kept:
            return Kill(integrity, heard_s, 0.0, {}, {})
        last = self._run(folder, self._silence, "--pace", "fast", "--resume")[-1]
        kept_s = round(last["seconds"] - 0.5, 1)
        return Kill(integrity, heard_s, kept_s, last, self._whole[kept_s])

    def _run(self, folder, file, *more):
        done = subprocess.run(
            _command(file, *more),
            env=_own(folder),
            stdout=subprocess.PIPE,
            text=True,
            check=True,
            timeout=LIMIT_S,
        )
        return [line for line in map(json.loads, done.stdout.splitlines()) if line["type"] == "reading"]


def _command(file, *more):
    return [
        *(sys.executable, "-m", "sidecar", "live", "--file", str(file), *more),
        *("--no-screen", "--json", "--osc-port", "0"),
    ]


def _own(folder):
    return {**os.environ, "XDG_DATA_HOME": str(folder), "XDG_STATE_HOME": str(folder)}


def _look_into(folder):
    """SQLite's own verdict, and whether a pass is in there."""
    file = next(Path(folder).rglob("*.sqlite"), None)
    if file is None:
        return "ok", False
    connection = sqlite3.connect(file)
    try:
        [verdict] = connection.execute("PRAGMA integrity_check").fetchone()
        [[kept]] = connection.execute("SELECT count(*) FROM passes WHERE blocks > 0").fetchall()
        return verdict, kept > 0
    finally:
        connection.close()


def _close(first, second):
    return first is second is None or (None not in (first, second) and abs(first - second) < 0.011)
