"""Whether songs of the same package predict the rest of a song better than the forecast. Run on demand:

    python tests/benchmarks/similar_passes.py

A package is taken as the record of one person: its songs are alike in style and mastering. The error of the
forecast of the whole, after a share of the song, is taken from all other songs of the package, shrunk by
how few they are, and taken off. How much it is shrunk is chosen on the tuning half.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from landing_ways import GOAL
from recordings import HALVES, Half, Levels, rough_mix, songs

from sidecar.advice.programme.landing import LandingAdvisor

SHARES = (0.05, 0.1, 0.2, 0.3, 0.5)
SHRINKS = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, np.inf)
"""So many songs count as one that has the average error of no package: none."""


def errors_lu(half: Half) -> dict[str, Levels]:
    """What the forecast of the whole is low by: by package, shape (songs, shares)."""
    found = defaultdict(list)
    for song in songs(half):
        mix = rough_mix(song, GOAL.target_lufs)
        advisor, place, row = LandingAdvisor(GOAL, mix.seconds), 0, []
        for share in SHARES:
            stop = round(len(mix.energies) * share)
            advisor.push(mix.energies[place:stop], 0.0, mix.true_peaks_dbtp[place:stop])
            place, outlook = stop, advisor.outlook()
            row.append(np.nan if outlook is None else mix.lufs - GOAL.target_lufs - outlook.expected_lu)
        found[song.name.split("/")[0]].append(row)
    return {package: np.array(rows) for package, rows in found.items()}


def left_lu(errors: dict[str, Levels], shrink: float) -> Levels:
    """Root mean square of what is left, a figure for each share."""
    left = []
    for rows in errors.values():
        known = np.isfinite(rows)
        others = known.sum(axis=0) - known
        total = np.nansum(rows, axis=0) - np.where(known, rows, 0.0)
        left.append(rows - total / np.maximum(others + shrink, 1e-9))
    return np.asarray(np.sqrt(np.nanmean(np.concatenate(left) ** 2, axis=0)))


def main() -> None:
    for half in HALVES:
        errors = errors_lu(half)
        count = sum(len(rows) for rows in errors.values())
        print(f"\n{half} half, {count} songs; error after {', '.join(f'{share:.0%}' for share in SHARES)}")
        for package, rows in errors.items():
            print(f"  {package:26} {len(rows):3d}", *(f"{lu:+6.2f}" for lu in np.nanmean(rows, axis=0)))
        for shrink in SHRINKS:
            name = "forecast" if np.isinf(shrink) else f"others, shrunk by {shrink:.0f}"
            print(f"  {name:30}", *(f"{lu:6.2f}" for lu in left_lu(errors, shrink)))


if __name__ == "__main__":
    main()
