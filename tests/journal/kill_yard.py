"""Kills measuring processes at random moments and gives what they left: for the test and the benchmark."""

import os
import sqlite3
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from killed_run import NOTE

from sidecar.journal import reader
from sidecar.journal.record import Record


@dataclass(frozen=True)
class Left:
    """What one killed process left."""

    integrity: str
    record: Record | None
    written: int
    """Blocks handed over before the last write that was finished."""
    handed: int
    """Blocks handed over in all."""
    lost_s: float
    """From the moment that the first lost block was handed over to the kill; 0 where none was lost."""


def kill_at(folder, moments_s):
    """Runs as many processes at once as there are moments, and kills each at its own."""
    script = Path(__file__).with_name("killed_run.py")
    done = subprocess.run(
        [sys.executable, str(script), str(folder), *map(str, moments_s)],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        text=True,
        timeout=120,
        check=True,
    )
    killed = dict(line.split() for line in done.stdout.splitlines())
    return [_left(folder, name, float(killed[name])) for name in map(str, range(len(moments_s)))]


def _left(folder, name, killed_s):
    file = folder / f"{name}.sqlite"
    written, handed = (_notes(folder / f"{name}.{what}") for what in ("written", "handed"))
    record = reader.latest(file)
    blocks = record.summary.blocks if record else 0
    lost = [at_s for at_s, count in handed if count > blocks]
    return Left(
        _integrity(file),
        record,
        written=written[-1][1] if written else 0,
        handed=handed[-1][1] if handed else 0,
        lost_s=killed_s - lost[0] if lost else 0.0,
    )


def _notes(file):
    data = file.read_bytes() if file.exists() else b""
    return [NOTE.unpack_from(data, at) for at in range(0, len(data) - NOTE.size + 1, NOTE.size)]


def _integrity(file):
    if not file.exists():
        return "ok"
    connection = sqlite3.connect(file)
    try:
        return connection.execute("PRAGMA integrity_check").fetchone()[0]
    finally:
        connection.close()


def integrated_of(energies, cuts):
    """LUFS from 100 ms mean squares (ITU-R BS.1770-5 Annex 1, equations 3 to 7); no block across a cut."""
    powers = np.concatenate([_windows(piece, 4) for piece in np.split(energies, cuts)])
    kept = powers[powers > _mean_square(-70.0)]
    kept = kept[kept > 0.1 * kept.mean()]
    return -0.691 + 10.0 * np.log10(kept.mean())


def range_of(energies, cuts):
    """LU from 100 ms mean squares (EBU Tech 3342 §3.1 and §5); no window across a cut."""
    powers = np.sort(np.concatenate([_windows(piece, 30) for piece in np.split(energies, cuts)]))
    kept = powers[powers >= _mean_square(-70.0)]
    kept = kept[kept >= 0.01 * kept.mean()] if len(kept) else kept
    if not len(kept):
        return 0.0
    low, high = (kept[int(np.floor((len(kept) - 1) * percent / 100.0 + 0.5))] for percent in (10, 95))
    return 10.0 * np.log10(high / low)


def _windows(piece, blocks):
    return np.convolve(piece, np.full(blocks, 1.0 / blocks), "valid") if len(piece) >= blocks else np.empty(0)


def _mean_square(lufs):
    return 10.0 ** ((lufs + 0.691) / 10.0)
