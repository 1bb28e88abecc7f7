"""The band of the rehearsal. Each plays one note or stroke, mono, shape (n,)."""

from __future__ import annotations

import numpy as np

from sidecar.sources.rehearsal.acoustics import (
    RATE_HZ,
    Sound,
    band,
    envelope,
    frames_in,
    ring,
    white,
)

_FOR_EVER = 1e6

_KETTLE = ((0.85, 0.3, 0.12), (1.0, 1.0, 0.55), (1.5, 0.6, 0.45), (1.98, 0.4, 0.35), (2.44, 0.25, 0.25))
"""Modes of a kettledrum: ratio, amplitude, decay in s (from memory)."""


def pitch_hz(semitone: float) -> float:
    """Equal temperament, A4 = semitone 69 = 440 Hz (ISO 16)."""
    return float(440.0 * 2.0 ** ((semitone - 69) / 12))


def harp(semitone: float, seconds: float) -> Sound:
    """A plucked string: the pluck at a fifth of its length leaves out every fifth partial."""
    hz = pitch_hz(semitone)
    partials = [
        (hz * k * (1 + 0.0002 * k * k), np.sin(np.pi * k / 5) / k, 1.4 * (220 / hz) ** 0.3 / k**0.6)
        for k in range(1, 13)
    ]
    return ring(partials, frames_in(seconds)) * envelope(frames_in(seconds), 0.002, 0.08)


def bass(semitone: float, seconds: float) -> Sound:
    """A plucked double bass."""
    hz = pitch_hz(semitone)
    partials = [(hz * k, 0.9 / k**1.1, 0.75 / k**0.5) for k in range(1, 8)]
    return ring(partials, frames_in(seconds)) * envelope(frames_in(seconds), 0.006, 0.10)


def accordion(semitone: float, seconds: float) -> Sound:
    """Two reeds a few cents apart, so that they beat."""
    reeds = (pitch_hz(semitone - 0.05), pitch_hz(semitone + 0.07))
    partials = [
        (hz * k, 0.30 / k**0.8 * (0.6 + 0.4 * (k % 2)), _FOR_EVER) for hz in reeds for k in range(1, 13)
    ]
    return ring(partials, frames_in(seconds)) * envelope(frames_in(seconds), 0.035, 0.06)


def strings(semitone: float, seconds: float, *, swell_s: float = 0.8) -> Sound:
    """A section that bows softly: three players who never quite agree."""
    players = [pitch_hz(semitone + cents / 100) for cents in (-7.0, 0.5, 6.0)]
    partials = [(hz * k, 0.22 / k**1.5, _FOR_EVER) for hz in players for k in range(1, 8)]
    return ring(partials, frames_in(seconds)) * envelope(frames_in(seconds), swell_s, swell_s)


def brass(semitone: float, seconds: float) -> Sound:
    """Low brass that leans into the note."""
    players = [pitch_hz(semitone + cents / 100) for cents in (-4.0, 5.0)]
    partials = [(hz * k, 0.28 / k**0.75, _FOR_EVER) for hz in players for k in range(1, 15)]
    shape = envelope(frames_in(seconds), 0.35 * seconds, 0.4 * seconds)
    return ring(partials, frames_in(seconds)) * shape


def chime(semitone: float, seconds: float) -> Sound:
    """Struck metal bars; the higher partials of a free bar lie at 2.76 and 5.40 times the first."""
    hz = pitch_hz(semitone)
    partials = [(hz, 1.0, 1.3), (hz * 2.76, 0.30, 0.5), (hz * 5.40, 0.12, 0.18)]
    return ring(partials, frames_in(seconds)) * envelope(frames_in(seconds), 0.002, 0.2)


def timpani(semitone: float, seconds: float, draw: int) -> Sound:
    """A kettledrum: nearly harmonic modes and the knock of the stick."""
    hz = pitch_hz(semitone)
    modes = [(hz * ratio, gain, decay_s) for ratio, gain, decay_s in _KETTLE]
    frames = frames_in(seconds)
    knock = band(white(draw, frames), 200.0, 1800.0) * np.exp(-np.arange(frames) / (0.012 * RATE_HZ))
    return (ring(modes, frames) + knock.astype(np.float32)) * envelope(frames, 0.003, 0.15)


def brush(seconds: float, draw: int) -> Sound:
    """A brush on a snare drum."""
    frames = frames_in(seconds)
    decay = np.exp(-np.arange(frames) / (0.055 * RATE_HZ)).astype(np.float32)
    return band(white(draw, frames), 1800.0, 9000.0) * decay * envelope(frames, 0.006, 0.03)


def thud(seconds: float) -> Sound:
    """A bass drum with a blanket: the pitch falls as the head settles."""
    at = np.arange(frames_in(seconds)) / RATE_HZ
    turns = 52.0 * at + 48.0 * 0.03 * (1.0 - np.exp(-at / 0.03))
    beat = np.sin(2.0 * np.pi * turns) * np.exp(-at / 0.11)
    return beat.astype(np.float32) * envelope(len(at), 0.003, 0.05)
