"""The people of the rehearsal: a pulse train and noise, shaped by a moving tract."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidecar.sources.rehearsal.acoustics import (
    RATE_HZ,
    Sound,
    Track,
    band,
    envelope,
    moving_resonances,
    wander,
    white,
)
from sidecar.sources.rehearsal.speech import CONTOUR_HZ, Contours, articulated

FRAME = RATE_HZ // CONTOUR_HZ

_HISS_BANDS_HZ = ((4600.0, 9500.0), (2100.0, 5200.0), (1200.0, 9000.0))
"""Teeth, palate, lips."""

_PRESENCE = np.float32(1.1)
"""What a close microphone adds where consonants live."""


@dataclass(frozen=True, slots=True)
class Voice:
    """Who speaks."""

    pitch_hz: float
    tract: float
    """Formants beside a grown man's: a shorter tract has higher ones."""
    pace: float = 1.0
    breath: float = 0.03
    """Noise that goes with every voiced sound."""
    open_quotient: float = 0.6
    """Share of each period in which the glottis is open: small is pressed, large is soft."""
    bright_hz: float = 4500.0
    """Above it the glottis gives less: effort raises it."""


def _stretched(contour: Track) -> Track:
    """From contour points to samples, in straight lines."""
    points = len(contour)
    at = (np.arange(points * FRAME) + 0.5) / FRAME - 0.5
    return np.interp(at, np.arange(points), contour)


def _pulses(voice: Voice, contours: Contours, draw: int) -> tuple[Sound, Sound]:
    """The flow's slope at the glottis, and when it is open: shapes (n,).

    Source: the polynomial glottal pulse of J. Acoust. Soc. Am. 87 (1990) (from memory).
    """
    unsteady = 1.0 + 0.030 * (wander(draw, len(contours.pitch), 6.0, CONTOUR_HZ) - 0.5)
    turns = np.cumsum(_stretched(voice.pitch_hz * contours.pitch * unsteady)) / RATE_HZ
    period = turns.astype(np.int64)
    opened = (turns - period) / voice.open_quotient
    is_open = opened < 1.0
    shimmer = (1.0 + 0.08 * white(draw + 1, int(period[-1]) + 1))[period]
    slope = np.where(is_open, (2.0 - 3.0 * opened) * opened, 0.0) * shimmer
    return slope.astype(np.float32), is_open.astype(np.float32)


def speak(voice: Voice, line: str, draw: int) -> Sound:
    """A spoken line, its voiced parts at −20 dBFS rms: shape (n,)."""
    contours = articulated(line, voice.pace)
    slope, is_open = _pulses(voice, contours, draw)
    noise = white(draw + 2, len(slope))
    voiced = _stretched(contours.voiced).astype(np.float32)
    breath = _stretched(contours.breath).astype(np.float32) + voice.breath * voiced * is_open
    source = band(slope * voiced, 0.0, voice.bright_hz, 1) + 0.35 * band(noise, 500.0, 6000.0, 1) * breath

    hz = np.empty((len(contours.pitch), 5))
    hz[:, :3] = contours.formants_hz * voice.tract
    hz[:, 3:] = np.array([3500.0, 4600.0]) * voice.tract
    width_hz = np.broadcast_to(np.array([80.0, 100.0, 150.0, 240.0, 320.0]), hz.shape)
    spoken = moving_resonances(source.astype(np.float32), hz, width_hz, FRAME)
    for (low_hz, high_hz), contour in zip(_HISS_BANDS_HZ, contours.hiss.T, strict=True):
        spoken += 0.55 * band(noise, low_hz, high_hz) * _stretched(contour).astype(np.float32)

    spoken = band(spoken + _PRESENCE * band(spoken, 1500.0, 7000.0, 1), 75.0, RATE_HZ / 2)
    loud = spoken[voiced > 0.3]
    level = np.float32(0.1 / np.sqrt(np.mean(loud**2, dtype=np.float64)))
    return spoken * level * envelope(len(spoken), 0.015, 0.015)
