"""One channel in which speech is clearest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.layouts import Layout, channel_names

_CENTRES = {"C", "M"}
_FRONTS = {"L", "R", "Lc", "Rc"}
_FRONT_BESIDE_CENTRE = 0.25
"""Dialogue lies in the centre where there is one (common practice, no source), and music beside it covers it.
Left and right still count a little: some mixes carry it as a phantom there."""

_ABSURD = np.float32(100.0)
"""+40 dBFS: what lies above is no speech, and would stay in the detector's memory."""


def speech_gains(layout: Layout) -> NDArray[np.float32]:
    """Returns the factor of each channel in the mono sum for the detector, shape (channels,).

    With a centre this counts most, the front beside it a little; without one the front counts evenly. Where
    no loudspeakers are known all channels do.
    """
    names = channel_names(layout.name, layout.channels)
    centre = np.array([name in _CENTRES for name in names], np.float32)
    front = np.array([name in _FRONTS for name in names], np.float32)
    if centre.any():
        return np.asarray((centre + _FRONT_BESIDE_CENTRE * front) / centre.sum(), np.float32)
    if front.any():
        return np.asarray(front / front.sum(), np.float32)
    return np.full(layout.channels, 1.0 / layout.channels, np.float32)


def mono(frames: NDArray[np.floating | np.signedinteger], gains: NDArray[np.float32]) -> NDArray[np.float32]:
    """Returns the sum of the channels of *frames*, shape (n, channels), each times its gain, shape (n,).

    Samples that are not numbers, and absurd ones, become silence.
    """
    total = np.zeros(len(frames), np.float32)
    for channel in np.flatnonzero(gains):
        total += frames[:, channel] * gains[channel]
    total[~(np.abs(total) < _ABSURD)] = 0.0
    return total
