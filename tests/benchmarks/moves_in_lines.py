"""How often a run's own lines ask for another move, on real recordings, advice not followed. Run on demand:

    python tests/benchmarks/moves_in_lines.py [--half judging] [--count 4]

Each recording goes through ``sidecar live --file F --pace fast --no-screen --json``; every line of type
``move`` counts, the first excepted. Nothing here looks inside: what is counted is what a script would get.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from itertools import islice
from pathlib import Path

from recordings import HALVES, wav_files


def moves(file: Path) -> tuple[list[dict[str, object]], float]:
    """The lines of type ``move`` of a run, and how many minutes it measured."""
    live = ("live", "--file", str(file), "--pace", "fast", "--no-screen", "--json", "--no-record")
    lines = subprocess.run(
        [sys.executable, "-m", "sidecar", *live], check=True, capture_output=True, text=True
    ).stdout
    said = [json.loads(line) for line in lines.splitlines()]
    seconds = max(line["seconds"] for line in said if line["type"] == "reading")
    return [line for line in said if line["type"] == "move"], seconds / 60.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--half", choices=HALVES, default="judging")
    parser.add_argument("--count", type=int, default=4)
    parser.add_argument("--rate", type=int, default=48_000, help="of the recordings, Hz")
    options = parser.parse_args()
    for file in islice(wav_files(options.half, rate_hz=options.rate), options.count):
        shown, minutes = moves(file)
        gains = " ".join(f"{line['gain_db']:+.1f}" for line in shown)
        print(
            f"{(len(shown) - 1) / minutes:5.1f} a minute over {minutes:.1f} min  {file.stem}\n      {gains}"
        )


if __name__ == "__main__":
    main()
