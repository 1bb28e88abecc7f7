"""Whole runs killed at random moments, and gone on with: what is lost, and is what is left right?

Run: python tests/benchmarks/kills.py [KILLS]
"""

import random
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "endurance"))

from whole_kills import Yard

AT_ONCE = 5
LOST_S = 1.0


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as folder:
        kills = Yard(Path(folder)).kill_all([random.uniform(0.0, 12.0) for _ in range(count)], AT_ONCE)
    lost = sorted(kill.heard_s - kill.kept_s for kill in kills)
    gone_on = [kill for kill in kills if kill.kept_s]
    print(f"{count} kills, {sum(kill.integrity == 'ok' for kill in kills)} records whole,", end=" ")
    print(f"{len(gone_on)} gone on with, {sum(kill.is_same for kill in gone_on)} of them as the unbroken run")
    print(f"lost: {lost[count // 2]:.1f} s in the middle, {lost[-1]:.1f} s at most ({LOST_S} s are promised)")


if __name__ == "__main__":
    main()
