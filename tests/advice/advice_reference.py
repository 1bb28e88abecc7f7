"""A slow, obvious second implementation of the gates, and invented material to try the advice on."""

import math

import numpy as np

from sidecar.settings.goals import Goal

TELEVISION = Goal(
    name="television",
    title="Television",
    target_lufs=-23.0,
    tolerance_below_lu=0.2,
    tolerance_above_lu=0.2,
    ceiling_dbtp=-1.0,
    hot_lufs=-18.0,
)
"""EBU R 128 V5: target h), allowance i), ceiling m)."""


def lufs(mean_square):
    """ITU-R BS.1770-5 Annex 1, equation 2."""
    return -0.691 + 10.0 * math.log10(mean_square) if mean_square > 0.0 else -math.inf


def energy(level_lufs):
    """Mean square of a level."""
    return 10.0 ** ((np.asarray(level_lufs, dtype=float) + 0.691) / 10.0)


def integrated(energies):
    """Gated loudness of unbroken 100 ms energies, block by block: BS.1770-5 Annex 1, equations 3 to 7."""
    blocks = [sum(energies[start : start + 4]) / 4.0 for start in range(len(energies) - 3)]
    return gated(blocks)


def gated(blocks):
    """Gated loudness of gating blocks."""
    survivors = [block for block in blocks if lufs(block) > -70.0]
    if not survivors:
        return -math.inf
    gate = lufs(sum(survivors) / len(survivors)) - 10.0
    kept = [block for block in survivors if lufs(block) > gate]
    return lufs(sum(kept) / len(kept))


def material(seed, seconds, level_lufs=-23.0):
    """100 ms energies of an invented programme: sections of 10 to 40 s, pauses, and noise within them."""
    rng = np.random.default_rng(seed)
    levels = np.empty(0)
    while len(levels) < seconds * 10:
        length = int(rng.uniform(100, 400))
        section = level_lufs + rng.normal(0.0, 4.0) + rng.normal(0.0, 2.0, length)
        levels = np.concatenate([levels, section, np.full(int(rng.uniform(0, 60)), level_lufs - 55.0)])
    return energy(levels[: seconds * 10])


def gained(energies, gain_db):
    """The energies under a fader gain, one gain or one each block."""
    return energies * 10.0 ** (np.asarray(gain_db) / 10.0)
