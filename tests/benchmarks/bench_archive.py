"""A whole archive: how fast it is measured, what that costs, and what kills do to it.

Run: python tests/benchmarks/bench_archive.py [files] [kills] [jobs]
Writes so many small files of twelve kinds, one in twenty of them broken in one of eleven ways. Measures them
without a break, again with nothing to do, and anew with so many real kills at random moments, each followed
by the same command. Counts what was measured in the archive's own database.
"""

from __future__ import annotations

import os
import random
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from made_archive import made_archive

HERE = Path(__file__).parents[2]


def command(folder: Path, database: Path, jobs: int) -> list[str]:
    words = [sys.executable, "-m", "sidecar", "check", "--archive", str(database), "--jobs", str(jobs)]
    return [*words, str(folder)]


def counts(database: Path) -> tuple[int, int, int, float]:
    """Files on record, measurements, the most of one file, seconds of sound."""
    with sqlite3.connect(database) as connection:
        row = connection.execute(
            "SELECT count(*), total(measurements), coalesce(max(measurements), 0), total(seconds) FROM files"
        ).fetchone()
    connection.close()
    return int(row[0]), int(row[1]), int(row[2]), float(row[3])


def has_begun(database: Path) -> bool:
    with sqlite3.connect(database) as connection:
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    connection.close()
    return bool(tables[0])


def run(words: list[str]) -> tuple[float, float, str]:
    """Clock and processor seconds, and the last line that it prints."""
    before, clock = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(words, check=False, capture_output=True, text=True, cwd=HERE)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - clock, used, (done.stdout or done.stderr).splitlines()[-1]


def told(name: str, seconds: float, used: float, files: int, sound_s: float) -> None:
    print(
        f"{name}: {seconds:.1f} s, {files / seconds:.0f} files/s, {sound_s / seconds:.0f} × real time, "
        f"{100 * used / seconds:.0f} % of one processor, {1000 * used / max(1, files):.1f} ms of it a file",
        flush=True,
    )


def killed(words: list[str], database: Path, kills: int, whole_s: float, readable: int) -> None:
    """Kills runs until so many were killed; an archive that is complete is begun anew."""
    chance = random.Random(1)
    done = 0
    while done < kills:
        process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=HERE)
        try:
            process.wait(chance.uniform(0.1, 0.5) * whole_s)
        except subprocess.TimeoutExpired:
            process.kill()
            done += 1
        process.wait()
        if process.returncode >= 0:
            completed(database, readable)
            database.unlink()
        elif has_begun(database):
            print(f"  killed with {counts(database)[1]} of {readable} measured", flush=True)
    run(words)
    completed(database, readable)


def completed(database: Path, readable: int) -> None:
    on_record, measured, most, _ = counts(database)
    print(f"after kills: {on_record} on record, {measured} measurements of {readable}, at most {most} a file")


def main() -> None:
    files, kills, jobs = (
        int(word) for word in (*sys.argv[1:], *("2000", "5", str(os.cpu_count()))[len(sys.argv) - 1 :])
    )
    with tempfile.TemporaryDirectory() as place:
        folder, database = Path(place) / "masters", Path(place) / "kept.sqlite"
        broken = made_archive(folder, files)
        readable = files - sum("no numbers" not in said for said in broken.values())
        size = sum(path.stat().st_size for path in folder.rglob("*.*") if path.exists())
        print(f"{files} files of {size / files / 1000:.0f} kB, {len(broken)} broken, {jobs} processes")

        words = command(folder, database, jobs)
        seconds, used, last = run(words)
        _, measured, most, sound_s = counts(database)
        told("measured", seconds, used, files, sound_s)
        print(f"  {last} {measured} measurements of {readable} that can be read, at most {most} a file")
        print(f"  {database.stat().st_size / max(1.0, sound_s):.0f} bytes a second of sound on record")
        told("nothing to do", *run(words)[:2], files, sound_s)

        database.unlink()
        killed(words, database, kills, seconds, readable)
        largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        print(f"largest process: {largest / 1024:.0f} MB")


if __name__ == "__main__":
    main()
