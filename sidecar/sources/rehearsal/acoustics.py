"""What every sound of the rehearsal is made of: noise, ringing, moving resonances, a place, a room.

Sounds are float32 at 48 kHz; mono is shape (n,), stereo is shape (n, 2). Nothing here keeps a state, and
everything random comes from a numbered draw, so that a sound is the same to the bit each time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sidecar.sources.rehearsal.filters import butterworth, convolved, filtered

Sound = NDArray[np.float32]
Track = NDArray[np.float64]

RATE_HZ = 48_000


def frames_in(seconds: float) -> int:
    return round(seconds * RATE_HZ)


def white(draw: int, frames: int, channels: int = 1) -> Sound:
    """Uniform white noise within ±1: shape (frames,), or (frames, channels) for more than one.

    Taken from the raw bits because numpy keeps those the same for ever, and its distributions not (NEP 19).
    """
    count = frames * channels
    raw = np.random.PCG64(draw).random_raw(-(-count // 4))
    noise = raw.view(np.int16)[:count] * np.float32(2.0**-15)
    return noise if channels == 1 else noise.reshape(frames, channels)


def wander(draw: int, frames: int, knots_per_s: float, frame_rate_hz: float = RATE_HZ) -> Track:
    """A slow random contour within 0..1, smooth between its knots: shape (frames,)."""
    span = frame_rate_hz / knots_per_s
    knots = 0.5 + 0.5 * white(draw, int(frames / span) + 2).astype(np.float64)
    at = np.arange(frames) / span
    whole = at.astype(np.int64)
    blend = 0.5 - 0.5 * np.cos(np.pi * (at - whole))
    return knots[whole] * (1.0 - blend) + knots[whole + 1] * blend


@lru_cache(maxsize=64)
def _sections(low_hz: float, high_hz: float, order: int) -> Track:
    return butterworth(order, low_hz, high_hz, RATE_HZ)


def band(sound: Sound, low_hz: float, high_hz: float, order: int = 2) -> Sound:
    """Only what lies between the two frequencies; 0 or half the rate leaves that side open."""
    sections = _sections(low_hz, high_hz, order)
    result = np.empty(sound.shape, np.float32)
    for c, column in enumerate(np.atleast_2d(sound.T)):
        state = np.zeros((len(sections), 2))
        result.reshape(len(sound), -1)[:, c] = filtered(column, sections[np.newaxis], len(sound), state)
    return result


def moving_resonances(sound: Sound, hz: Track, width_hz: Track, frame: int) -> Sound:
    """Sends a mono sound through a chain of resonances that move; each passes 0 Hz unchanged.

    hz, width_hz: shape (frames, resonances), one row for each ``frame`` samples of the sound, which must be
    a whole number of them.
    Source: "Software for a cascade/parallel formant synthesizer", J. Acoust. Soc. Am. 67 (1980),
    equation 2 (from memory).
    """
    c = -np.exp(-2.0 * np.pi * width_hz / RATE_HZ)
    b = 2.0 * np.exp(-np.pi * width_hz / RATE_HZ) * np.cos(2.0 * np.pi * hz / RATE_HZ)
    sections = np.zeros((*hz.shape, 6))
    sections[..., 0] = 1.0 - b - c
    sections[..., 3] = 1.0
    sections[..., 4] = -b
    sections[..., 5] = -c
    return filtered(sound, sections, frame, np.zeros((hz.shape[1], 2))).astype(np.float32)


def ring(partials: Sequence[tuple[float, float, float]], frames: int) -> Sound:
    """Sum of damped sines, each (frequency in Hz, amplitude, seconds until it has fallen to 1/e).

    A damped sine is a geometric series, so a long one is the outer product of two short ones: exact, and many
    times faster than a sine for each sample.
    """
    step = 256
    rows = -(-frames // step)
    total = np.zeros((rows, step), dtype=np.float32)
    product = np.empty_like(total)
    for hz, amplitude, decay_s in partials:
        if hz >= 0.45 * RATE_HZ:
            continue
        rate = (2j * np.pi * hz - 1.0 / decay_s) / RATE_HZ
        coarse = (amplitude * np.exp(rate * step * np.arange(rows))).astype(np.complex64)
        fine = np.exp(rate * np.arange(step)).astype(np.complex64)
        total += np.multiply.outer(coarse.imag, fine.real, out=product)
        total += np.multiply.outer(coarse.real, fine.imag, out=product)
    return total.reshape(-1)[:frames]


def envelope(frames: int, attack_s: float, release_s: float) -> Sound:
    """Rises from 0 to 1 and falls back to 0 with rounded corners: shape (frames,)."""
    shape = np.ones(frames, dtype=np.float32)
    rise, fall = min(frames_in(attack_s), frames), min(frames_in(release_s), frames)
    shape[:rise] *= _rounded(rise)
    shape[frames - fall :] *= _rounded(fall)[::-1]
    return shape


def _rounded(frames: int) -> Sound:
    at = np.linspace(0.0, 1.0, frames, dtype=np.float32)
    return at * at * (3.0 - 2.0 * at)


def placed(sound: Sound, pan: float) -> Sound:
    """A mono sound between left (−1) and right (+1) at constant power: shape (n, 2)."""
    angle = (pan + 1.0) * np.pi / 4
    sides = np.array([np.cos(angle), np.sin(angle)], dtype=np.float32)
    return np.multiply.outer(sound, sides)


@dataclass(frozen=True, slots=True)
class Room:
    """A place to sound in: first reflections, then a tail of decaying noise."""

    tail_s: float
    """Until the tail has fallen by 60 dB."""
    wet: float
    """Its level, amplitude relative to the direct sound."""
    dark_hz: float
    """Where walls and air take the treble away."""
    reflections_ms: tuple[float, ...] = (7.0, 11.0, 17.0, 23.0)


@lru_cache(maxsize=8)
def _response(room: Room) -> Sound:
    """Impulse response of both ears, energy 1 each: shape (n, 2)."""
    frames = frames_in(room.tail_s)
    decay = np.exp(-6.9 * np.arange(frames) / frames) * envelope(frames, 0.012, 0.05)
    response = white(71, frames, 2) * decay[:, None].astype(np.float32)
    for order, delay_ms in enumerate(room.reflections_ms):
        side = order % 2
        response[frames_in(delay_ms / 1000.0), side] += np.float32(6.0 * 0.8**order)
    response = band(response, 120.0, room.dark_hz, 1)
    response /= np.sqrt(np.sum(response**2, axis=0))
    return response


def sounding_in(room: Room, sound: Sound) -> Sound:
    """A stereo sound with its room; longer than before by the tail."""
    response = _response(room)
    result = np.zeros((len(sound) + len(response) - 1, 2), dtype=np.float32)
    middle = sound.mean(axis=1, keepdims=True)
    result += convolved(middle, response) * np.float32(room.wet)
    result[: len(sound)] += sound
    return result
