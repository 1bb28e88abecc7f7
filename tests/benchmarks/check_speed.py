"""How fast a finished file is measured, against only reading it, and what a command takes to start.

Run: python tests/benchmarks/check_speed.py [--seconds 120] [--rounds 9] [--no-start | --no-files]

Files: two pieces of real music that Debian carries (downloaded on demand), one of them also as a clipped
master, and two invented programmes; each as 16-bit WAV, FLAC and Ogg Vorbis at 48 kHz. In each round reading
alone, one worker and two take turns; speeds are in times real time. One core is judged by processor time: the
least disturbed round of each. Two are judged by the clock, which other work on the machine disturbs.

Start: processor time of commands on one second of sound, over that of importing numba, numpy and soundfile.
They take turns too, and the least of each counts. Memory: the most that checking a file takes.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import numpy as np
import recordings
import soundfile
from numpy.typing import NDArray

from sidecar.delivery.measure.whole_file import measure

RATE_HZ = 48_000
BLOCK_FRAMES = 65_536
PACKAGES = ("singularity-music", "asc-music")
CLIPPED_BY_DB = 9.0
BARE_IMPORTS = ("-c", "import numba, numpy, soundfile")
Samples = NDArray[np.float64]


def invented(seconds: int, kind: str) -> Samples:
    """Dense (limited noise, peaks everywhere) or spoken (syllables and pauses)."""
    rng = np.random.default_rng(3)
    t = np.arange(seconds * RATE_HZ)[:, None] / RATE_HZ
    noise = rng.standard_normal((t.size, 2))
    if kind == "dense":
        return np.asarray(0.95 * np.tanh(0.8 * noise))
    return np.asarray(0.1 * noise * np.abs(np.sin(np.pi * 2 * t)) ** 3 * (np.sin(0.5 * t) > -0.6))


def real(seconds: int) -> Iterator[tuple[str, Samples]]:
    """Name and samples of each piece, which begins again where it ends before that length."""
    for package in PACKAGES:
        longest = max(recordings.sound_files(package), key=lambda file: file.stat().st_size)
        frames, _ = soundfile.read(longest, always_2d=True)
        yield package, np.resize(frames, (seconds * RATE_HZ, 2))
    yield (
        f"the last +{CLIPPED_BY_DB:g} dB, clipped",
        np.clip(
            np.resize(frames, (seconds * RATE_HZ, 2)) * 10.0 ** (CLIPPED_BY_DB / 20.0), -1.0, 1.0 - 2.0**-15
        ),
    )


def write(file: Path, samples: Samples) -> None:
    """In pieces: libsndfile's Vorbis writer keeps what it is given at a time on its stack."""
    with soundfile.SoundFile(file, "w", RATE_HZ, 2, None if file.suffix == ".ogg" else "PCM_16") as out:
        for start in range(0, len(samples), BLOCK_FRAMES // 4):
            out.write(samples[start : start + BLOCK_FRAMES // 4])


def decode(file: Path) -> None:
    """The floor: reading and decoding to floats, nothing else."""
    with soundfile.SoundFile(file) as source:
        while source.read(BLOCK_FRAMES, dtype="float32", always_2d=True).size:
            pass


def taken_s(work: Callable[[], object]) -> tuple[float, float]:
    """Processor time and clock time of one run."""
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return time.process_time() - processor, time.perf_counter() - clock


def race(file: Path, seconds: float, rounds: int) -> str:
    """A line of figures."""
    runs = [partial(decode, file), partial(measure, file, workers=1), partial(measure, file, workers=2)]
    for run in runs:
        run()
    times = np.array([[taken_s(run) for run in runs] for _ in range(rounds)])
    (floor, one, two), (floor_clock, one_clock, two_clock) = times.min(axis=0).T
    return (
        f"reading {seconds / floor:5.0f}; one core {seconds / one:5.0f}, {one / floor:.2f} of reading; "
        f"two cores {two / one:.2f} of that in processor time, by the clock {seconds / two_clock:5.0f}, "
        f"{one_clock / two_clock:.2f} times one, {two_clock / floor_clock:.2f} of reading"
    )


def race_files(seconds: int, rounds: int) -> None:
    """Prints a line for each programme and container, and the memory of a check of each real piece."""
    made = [(f"invented, {kind}", invented(seconds, kind)) for kind in ("dense", "spoken")]
    with tempfile.TemporaryDirectory() as folder:
        for name, samples in (*real(seconds), *made):
            for suffix in ("wav", "flac", "ogg"):
                file = Path(folder) / f"programme.{suffix}"
                write(file, samples)
                print(f"{name:32}{suffix:5}", race(file, seconds, rounds), flush=True)
                if suffix == "wav":
                    print(f"{name:32}check takes {memory_mb(file):.0f} MB at most", flush=True)


def memory_mb(file: Path) -> float:
    """The most that checking a file takes. Started by a small process, whose memory is counted at first."""
    ask = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    command = [sys.executable, "-c", ask, sys.executable, "-m", "sidecar", "check", str(file)]
    return int(subprocess.run(command, capture_output=True, check=True).stdout) / 1024.0


def processor_s(command: list[str], home: str) -> float:
    """Processor time of a command."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    for kind in ("DATA", "STATE"):
        environment[f"XDG_{kind}_HOME"] = home
    silent = subprocess.DEVNULL
    process = subprocess.Popen(command, stdin=silent, stdout=silent, stderr=silent, env=environment)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode > 1:  # 1 is a file that fails its goal
        raise SystemExit(f"{' '.join(command)} has failed")
    return used.ru_utime + used.ru_stime


def race_commands(rounds: int) -> None:
    """Prints what each command takes on a second of sound, as a multiple of the bare imports."""
    with tempfile.TemporaryDirectory() as folder:
        for name in "ab":
            soundfile.write(f"{folder}/{name}.wav", invented(1, "spoken"), RATE_HZ, "PCM_16")
        a, b = f"{folder}/a.wav", f"{folder}/b.wav"
        commands: dict[str, tuple[str, ...]] = {
            "check": ("check", a),
            "match": ("match", a, b),
            "stamp": ("stamp", "--dry-run", a),
            "live": ("live", "--file", a, "--no-screen", "--pace", "fast", "--no-record", "--osc-port", "0"),
            "rehearse": (
                "rehearse",
                "--no-screen",
                "--pace",
                "fast",
                "--for",
                "0.01",
                "--no-record",
                "--osc-port",
                "0",
            ),
        }
        runs = {"imports": [sys.executable, *BARE_IMPORTS]}
        runs |= {name: [sys.executable, "-m", "sidecar", *words] for name, words in commands.items()}
        for run in runs.values():
            processor_s(run, folder)
        taken = [[processor_s(run, folder) for run in runs.values()] for _ in range(rounds)]
    least = np.min(taken, axis=0)
    for name, seconds in zip(runs, least, strict=True):
        print(f"{name:32}{seconds:.2f} s, {seconds / least[0]:.2f} of the bare imports")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seconds", type=int, default=120, help="the length of each file")
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--start", action=argparse.BooleanOptionalAction, default=True)
    parser.add_argument("--files", action=argparse.BooleanOptionalAction, default=True)
    options = parser.parse_args()
    if options.start:
        race_commands(options.rounds)
    if options.files:
        race_files(options.seconds, options.rounds)


if __name__ == "__main__":
    main()
