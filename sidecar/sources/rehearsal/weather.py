"""Sea, wind, storm and what moves in them. Every sound is stereo, shape (n, 2)."""

from __future__ import annotations

import numpy as np

from sidecar.sources.rehearsal.acoustics import (
    RATE_HZ,
    Room,
    Sound,
    band,
    envelope,
    frames_in,
    moving_resonances,
    placed,
    ring,
    sounding_in,
    wander,
    white,
)

_BELL = (
    (0.50, 0.4, 2.2),
    (1.00, 0.6, 1.4),
    (1.20, 0.5, 1.1),
    (1.50, 0.3, 0.8),
    (2.00, 0.6, 0.9),
    (2.66, 0.3, 0.4),
    (4.20, 0.2, 0.2),
)
"""Hum, prime, tierce, quint, nominal and two above: ratio, amplitude, decay in s (common practice)."""

_OPEN_AIR = Room(tail_s=1.8, wet=0.35, dark_hz=2500.0, reflections_ms=(61.0, 97.0, 143.0))


def swell(seconds: float, *, pan: float, draw: int) -> Sound:
    """A wave that comes in, breaks into foam and draws back."""
    frames = frames_in(seconds)
    noise = white(draw, frames, 2)
    body = band(noise, 90.0, 700.0, 1) * envelope(frames, 0.45 * seconds, 0.55 * seconds)[:, None]
    foam = band(noise, 700.0, 3500.0, 1) * envelope(frames, 0.6 * seconds, 0.4 * seconds)[:, None]
    sides = np.array([1.0 - 0.5 * max(pan, 0.0), 1.0 + 0.5 * min(pan, 0.0)], dtype=np.float32)
    return (body + np.float32(0.30) * foam) * sides


def gust(seconds: float, *, howl_hz: float, draw: int) -> Sound:
    """Wind that rises, howls about ``howl_hz`` and lets go."""
    point = frames_in(0.02)
    points = frames_in(seconds) // point
    force = np.sin(np.linspace(0.0, np.pi, points)) ** 1.5
    sides = []
    for side in (0, 1):
        contour = force * (0.75 + 0.5 * wander(draw + 10 + side, points, 3.0, RATE_HZ / point))
        hz = np.stack([howl_hz * (0.6 + 0.7 * contour), 2.4 * howl_hz * (0.7 + 0.5 * contour)], axis=1)
        noise = band(white(draw + side, points * point), 60.0, 1200.0, 1)
        howl = moving_resonances(noise, hz, 0.25 * hz, point)
        strength = np.interp(np.arange(points * point) / point, np.arange(points), contour).astype(np.float32)
        sides.append((0.16 * howl + 0.45 * noise) * strength)
    return np.stack(sides, axis=1) * envelope(points * point, 0.3, 0.3)[:, None]


def rain(seconds: float, *, draw: int) -> Sound:
    """A steady sheet with single drops in it; fades in and out over a quarter, so that sheets overlap."""
    frames = frames_in(seconds)
    noise = white(draw, frames, 2)
    drops = np.where(np.abs(noise) > 0.9985, noise, np.float32(0.0))
    sheet = 0.22 * band(noise, 1200.0, 12000.0, 1) + 1.5 * band(drops, 1500.0, 7000.0)
    return sheet.astype(np.float32) * envelope(frames, seconds / 4, seconds / 4)[:, None]


def thunder(seconds: float, *, crack: float, pan: float, draw: int) -> Sound:
    """A roll, and a crack before it that peaks at ``crack`` on both sides when in the middle; 0: far away."""
    frames = frames_in(seconds)
    at = np.arange(frames) / RATE_HZ
    swaying = (0.35 + 1.3 * wander(draw + 1, frames, 4.0)) * np.exp(-at / (seconds / 4))
    shape = (swaying * envelope(frames, 0.25, 1.0)).astype(np.float32)
    roll: Sound = band(white(draw, frames, 2), 28.0, 150.0) * shape[:, None]
    if crack == 0.0:
        return roll
    tear = np.zeros(frames)
    for index, start_s in enumerate((0.0, 0.07, 0.11, 0.19, 0.34)):
        tear += (at >= start_s) * 0.75**index * np.exp(-np.maximum(at - start_s, 0.0) / 0.035)
    clap = band(white(draw + 2, frames) * tear.astype(np.float32), 90.0, 2600.0)
    clap *= envelope(frames, 0.002, 0.5)
    clap *= crack * np.sqrt(2.0) / np.abs(clap).max()
    return roll + placed(clap, pan)


def breaker(seconds: float, *, pan: float, draw: int) -> Sound:
    """A sea that hits the wall: a blow, then spray."""
    frames = frames_in(seconds)
    at = np.arange(frames) / RATE_HZ
    noise = white(draw, frames, 2)
    blow = band(noise, 50.0, 350.0) * np.exp(-at / 0.35)[:, None]
    spray = band(noise, 700.0, 5000.0, 1) * (np.exp(-at / 0.9) * (1.0 - np.exp(-at / 0.15)))[:, None]
    sides = np.sqrt([1.0 - pan, 1.0 + pan])
    return ((1.6 * blow + 0.35 * spray) * sides * envelope(frames, 0.03, 0.6)[:, None]).astype(np.float32)


def gull(*, calls: int, pan: float, draw: int) -> Sound:
    """Falling cries, each a little different."""
    frames = frames_in(0.42 * calls + 0.1)
    result = np.zeros(frames, dtype=np.float32)
    for call, luck in enumerate(white(draw, calls)):
        length = frames_in(0.30 + 0.05 * luck)
        contour = np.linspace(0.0, 1.0, length)
        hz = (950.0 + 120.0 * luck) * (1.0 + 0.55 * np.sin(np.pi * contour**0.6))
        turns = 2.0 * np.pi * np.cumsum(hz) / RATE_HZ
        cry = np.sin(turns) + 0.6 * np.sin(2.0 * turns) + 0.35 * np.sin(3.0 * turns)
        start = frames_in(0.42 * call)
        result[start : start + length] += cry.astype(np.float32) * envelope(length, 0.04, 0.12) * 0.2
    return sounding_in(_OPEN_AIR, placed(result, pan))


def ship_bell(*, strokes: int, pan: float, draw: int) -> Sound:
    """Strokes in pairs, as a watch is rung."""
    stroke = ring([(820.0 * ratio, gain, decay_s) for ratio, gain, decay_s in _BELL], frames_in(3.5))
    stroke *= envelope(len(stroke), 0.001, 0.5)
    starts = [frames_in(0.42 * (index % 2) + 1.5 * (index // 2)) for index in range(strokes)]
    result = np.zeros(starts[-1] + len(stroke), dtype=np.float32)
    for start, luck in zip(starts, white(draw, strokes), strict=True):
        result[start : start + len(stroke)] += (0.25 + 0.05 * luck) * stroke
    return sounding_in(_OPEN_AIR, placed(result, pan))


def foghorn(seconds: float, *, pan: float, draw: int) -> Sound:
    """One long low note from across the water, and the air it takes."""
    frames = frames_in(seconds)
    partials = [(87.0 * k, 0.35 / k**0.9, 1e6) for k in range(1, 12)]
    air = 0.2 * band(white(draw, frames), 150.0, 900.0, 1)
    note = (ring(partials, frames) + air) * envelope(frames, 0.25, 0.35)
    return sounding_in(_OPEN_AIR, placed(note, pan))


def footsteps(*, steps: int, draw: int) -> Sound:
    """Boots on planks, from left to right."""
    frames = frames_in(0.56 * steps + 0.3)
    result = np.zeros((frames, 2), dtype=np.float32)
    planks = frames_in(0.25)
    fall = np.exp(-np.arange(planks) / (0.03 * RATE_HZ)).astype(np.float32)
    for step in range(steps):
        knock = band(white(draw + step, planks) * fall, 80.0, 900.0 + 150.0 * (step % 2))
        start = frames_in(0.56 * step)
        result[start : start + planks] += placed(knock, -0.6 + 1.2 * step / steps) * np.float32(0.6)
    return sounding_in(_OPEN_AIR, result)
