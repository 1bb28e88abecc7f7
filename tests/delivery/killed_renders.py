"""Renders a copy of a file again and again and is killed each time a few lines later. Run as a program.

usage: killed_renders.py ORIGINAL FOLDER KILLS

As ``killed_stamps.py``, for copies at another gain; each goes into a folder of its own.
"""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "wave"))
from killed_stamps import count_lines, killed_at

from sidecar.delivery.match.render import render


def main(original, folder, kills):
    def rendering(name):
        (folder / name).mkdir()
        return lambda: render(original, folder / name / original.name, -3.0)

    lines = count_lines(rendering("all"))
    killed = sum(
        killed_at(rendering(f"{kill:03}"), 1 + kill * (lines - 1) // (kills - 1)) for kill in range(kills)
    )
    print(killed, "killed")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]))
