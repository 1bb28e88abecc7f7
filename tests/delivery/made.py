"""Measured files as a test needs them: figures given, and a history that agrees with them."""

from dataclasses import replace

import numpy as np

from sidecar.delivery.judge.checking import Checked
from sidecar.delivery.judge.verdict import judge
from sidecar.delivery.measure.facts import Facts
from sidecar.delivery.measure.whole_file import BlockSeries, Measured
from sidecar.model.readings import Reading
from sidecar.settings.goals import load_goal
from sidecar.wave.file_identity import FileIdentity

RIGHT = Reading(
    integrated=-23.0,
    loudness_range=6.0,
    max_true_peak=-3.0,
    true_peak=(-3.0, -4.0),
    sample_peak=-3.2,
    max_short_term=-19.0,
    max_momentary=-17.0,
    seconds=60.0,
)
"""On the target of R 128, under its ceiling."""
FACTS = Facts("WAV", "PCM_24", 60 * 48_000, (-3.2, -4.2), (0.0, 0.0), correlation=0.4)


def made(reading=RIGHT, facts=FACTS, history=None, **changes):
    """A file of a minute that reads so. changes: to the reading."""
    reading = replace(reading, **changes)
    history = history or level_history(600)
    return Measured("mix.wav", 48_000, 2, "stereo", reading, facts, 1.0, 2.0, 3.0, history)


def made_check(measured, *goals, file="mix.wav"):
    """Checked against these goals, as a file that does not change."""
    return Checked(
        file, measured, tuple(judge(measured, load_goal(goal)) for goal in goals), FileIdentity(1, 2, 3, 4)
    )


def level_history(blocks, momentary=-23.0, short_term=-23.0, true_peak=-9.0):
    """A programme that never moves."""
    return BlockSeries(
        energy=np.full(blocks, 0.005),
        momentary=np.full(blocks, momentary, np.float32),
        short_term=np.full(blocks, short_term, np.float32),
        true_peak=np.full((blocks, 2), true_peak, np.float32),
    )
