"""How many songs anyone could land inside the bound who knows how songs build up. Run on demand:

    python tests/benchmarks/bound_insider.py

An insider knows how much of the sound is still to come, and what whole_from_heard.py fits on: loudness so
far, forecast, loudest 10 s. It knows from all songs of the tuning half how near the gain of a whole pass is
known by these after each share of a song; the fit is judged on its own songs, which flatters it. It chooses
the fader by dynamic programming, at eleven moments, so that as many passes as can be land within 0.5 LU of
the goal with the fader never over 2 dB from that gain. Its doubt is taken as normal and as shrinking without
memory. It starts within 3 dB of that gain, and knows whether within 2 dB: the bound is 2 dB there and the
distance itself beyond. So what it reaches lies above what advice with the same input can reach.
"""

from __future__ import annotations

import numpy as np
from landing_ways import GOAL
from recordings import START_LU, Levels, rough_mix, songs
from scipy.ndimage import map_coordinates
from whole_from_heard import heard

SHARES = np.array([0.0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
NEAR_LU, ROUNDING_DB = 0.5, 0.05
STARTS = {"within 2 dB": (0.0, 2.0), "2 to 3 dB": (2.0, 3.0)}

_STEP_DB, _REACH_DB, _MOVE_DB = 0.25, 5.0, 4.0
_GRID = np.arange(-_REACH_DB, _REACH_DB + _STEP_DB, _STEP_DB)
_CHANCES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)


def learnt() -> tuple[Levels, Levels]:
    """What is heard after each share, less the whole: its mean, and what a fit of the whole by all figures
    leaves of its level, one standard deviation; shapes (shares,)."""
    found = heard([rough_mix(song, GOAL.target_lufs) for song in songs("tuning")], SHARES[1:-1])
    means, deviations = [], []
    for share in range(len(SHARES) - 2):
        is_known = found.is_known(share)
        wholes_lu, figures = found.wholes_lu[is_known], found.figures[is_known, share]
        means.append(np.mean(figures[:, 0] - wholes_lu))
        terms = np.column_stack([np.ones(len(figures)), figures])
        weights = np.linalg.lstsq(terms, wholes_lu, rcond=None)[0]
        deviations.append(np.std(wholes_lu - terms @ weights))
    return np.array(means), np.array(deviations)


def reached(means: Levels, deviations: Levels, start: tuple[float, float], bound_db: float) -> float:
    """The share of passes that the insider lands inside the bound.

    All levels are taken from the estimate of the gain of a whole pass, which steps as more is heard:
    the average gain so far, and the lowest and the highest that the fader was at.
    """
    share_heard = np.concatenate([[0.0], SHARES[1:-1] * 10.0 ** (means / 10.0), [1.0]])
    steps_db = _estimate_steps_db(deviations, start)
    average, lowest, highest = np.meshgrid(_GRID, _GRID, _GRID, indexing="ij")
    limit_db = bound_db + ROUNDING_DB
    value = ((np.abs(average) <= NEAR_LU) & (lowest >= -limit_db) & (highest <= limit_db)).astype(float)
    for stretch in range(len(SHARES) - 2, -1, -1):
        after = np.zeros_like(value)
        for chance, weight in zip(_CHANCES, _WEIGHTS / _WEIGHTS.sum(), strict=True):
            step_db = steps_db[stretch] * chance
            moved = share_heard[stretch + 1] * step_db
            after += weight * _at(value, average - moved, lowest - step_db, highest - step_db)
        if stretch == 0:  # until the first look the fader stays where it is
            return float(_at(after, *(np.zeros(1),) * 3)[0])
        share = share_heard[stretch + 1] - share_heard[stretch]
        value = np.zeros_like(value)
        for gain_db in np.arange(-_MOVE_DB, _MOVE_DB + _STEP_DB, _STEP_DB):
            lower, higher = np.minimum(lowest, gain_db), np.maximum(highest, gain_db)
            value = np.maximum(value, _at(after, average + share * gain_db, lower, higher))
    raise AssertionError("there is no first stretch")


def _estimate_steps_db(deviations: Levels, start: tuple[float, float]) -> Levels:
    """Deviation of what is learnt in each stretch, shape (stretches,), for a start so far from the gain."""
    rough_db2, (least_db, most_db) = START_LU**2 / 3.0, start
    start_db2 = (most_db**3 - least_db**3) / (3.0 * (most_db - least_db))
    heard_db2 = 1.0 / np.maximum(1.0 / deviations**2 - 1.0 / rough_db2, 1e-9)
    left_db2 = np.concatenate([[start_db2], 1.0 / (1.0 / start_db2 + 1.0 / heard_db2), [0.0]])
    return np.asarray(np.sqrt(-np.diff(np.minimum.accumulate(left_db2))))


def _at(value: Levels, *levels_db: Levels) -> Levels:
    places = [np.clip((level + _REACH_DB) / _STEP_DB, 0.0, len(_GRID) - 1.0) for level in levels_db]
    return np.asarray(map_coordinates(value, places, order=1))


def main() -> None:
    means, deviations = learnt()
    for share, mean, deviation in zip(SHARES[1:-1], means, deviations, strict=True):
        print(f"after {share:4.0%} the whole is {-mean:+.1f} LU louder, known to {deviation:.1f} LU")
    for bound_db in (2.0, 2.5, 3.0):
        shares = {
            name: reached(means, deviations, start, max(bound_db, start[1])) for name, start in STARTS.items()
        }
        together = (2.0 * shares["within 2 dB"] + shares["2 to 3 dB"]) / 3.0
        said = ", ".join(f"{share:.0%} of those that start {name}" for name, share in shares.items())
        print(f"bound {bound_db} dB: {together:.0%} land inside it; {said}")


if __name__ == "__main__":
    main()
